package cli

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/watch/watchtest"
)

// What was shipped gives the same verdicts from the central database as from the store, to the
// last digit, and a second shipping sends nothing.
func TestShippedVerdicts(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	s := newSession(t)
	s.board(40, 0.03, 20, 35)
	s.do(`ohmkeep import gallery.toml months.csv --store gallery.db`).exits(Passes)
	s.do(`ohmkeep note gallery.toml --store gallery.db --at 2026-04-05T12:00:00Z "re-made joint west-north"`).exits(Passes)
	s.do(`ohmkeep ship gallery.toml --store gallery.db --to ` + url).exits(Passes).prints("have arrived")
	s.do(`ohmkeep ship gallery.toml --store gallery.db --to ` + url).exits(Passes).prints("0 new readings and 0 new marks")
	for _, command := range []string{"drift gallery.toml", "assess gallery.toml", "drift gallery.toml --json", "assess gallery.toml --json"} {
		local := s.do("ohmkeep " + command + " --store gallery.db")
		central := s.do("ohmkeep " + command + " --db " + url)
		if local.out != central.out || local.status != central.status || local.out == "" {
			t.Errorf("%s: from the store, exit status %d\n%sfrom the central database, exit status %d\n%s%s", command, local.status, local.out, central.status, central.out, central.faults)
		}
	}
	s.do(`ohmkeep drift gallery.toml --db ` + url + ` --site nowhere`).exits(Wrong).says(`no site "nowhere"`)
	s.do(`ohmkeep drift gallery.toml --store gallery.db --db ` + url).exits(Wrong).says("not from both")
}

// With codes no name of a customer is in what is shown or sent, and the verdicts are the same.
func TestShippedCodes(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	s := newSession(t)
	s.board(40, 0.03, 20, 35)
	s.write("gallery.toml", "site = \"Villa Invented\"\n"+runtest.Gallery+"\n[installation]\nfor = \"Family Invented\"  # Lane 3\nplace = \"Lane 3\"\ninstaller = \"Workshop\"\n")
	s.do(`ohmkeep import gallery.toml months.csv --store gallery.db`).exits(Passes)
	s.do(`ohmkeep note gallery.toml --store gallery.db --at 2026-04-05T12:00:00Z "re-made joint west-north for Family Invented"`).exits(Passes)
	s.write("secret", "a secret of the firm\n")
	shown := s.do(`ohmkeep ship gallery.toml --store gallery.db --codes secret --show`).exits(Passes).out
	s.do(`ohmkeep ship gallery.toml --store gallery.db --codes secret --to ` + url).exits(Passes)
	sent := ""
	for _, table := range []string{"site", "run", "run_file", "series", "mark", "verdict"} {
		out, err := server.SQL("owner", "ohmkeep", "SELECT * FROM ohmkeep."+table)
		if err != nil || out == "" {
			t.Fatal(table, out)
		}
		sent += out
	}
	for _, name := range []string{"Invented", "Lane", "Workshop", "Gallery"} {
		if strings.Contains(shown, name) || strings.Contains(sent, name) {
			t.Errorf("%s is sent", name)
		}
	}
	if !strings.Contains(sent, "re-made joint west-north for owner-") || !strings.Contains(shown, "re-made joint west-north for owner-") {
		t.Error("the note is not sent")
	}
	local := s.do(`ohmkeep drift gallery.toml --store gallery.db --json`)
	if central := s.do(`ohmkeep drift gallery.toml --codes secret --json --db ` + url); central.out != local.out || local.out == "" {
		t.Errorf("from the store\n%s\nfrom the central database\n%s%s", local.out, central.out, central.faults)
	}
	s.do(`ohmkeep drift gallery.toml --json --db ` + url).exits(Wrong).says("knows no site")
}

// The joint that got worse is what needs a visit, until the site is in repair.
func TestFleetList(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	s := newSession(t)
	s.board(40, 0.03, 20, 100)
	s.do(`ohmkeep fleet --db ` + url).exits(Unproven).prints("0 sites")
	for _, site := range []string{"b", "a"} {
		s.write(site+".toml", "site = \"Hall "+site+"\"\n"+runtest.Gallery+"\n[installation]\nplace = \""+map[string]string{"a": "2 Harbour", "b": "1 Castle"}[site]+"\"\ninstaller = \"Workshop\"\n")
		s.do(`ohmkeep import ` + site + `.toml months.csv --store ` + site + `.db`).exits(Passes)
		s.do(`ohmkeep ship ` + site + `.toml --store ` + site + `.db --to ` + url).exits(Passes)
	}
	list := func() jsondoc.FleetDoc {
		var doc jsondoc.FleetDoc
		if err := json.Unmarshal([]byte(s.do(`ohmkeep fleet --json --db `+url).out), &doc); err != nil {
			t.Fatal(err)
		}
		return doc
	}
	doc := list()
	if len(doc.Sites) != 2 || doc.Sites[0].Place != "1 Castle" || doc.Sites[0].Severity != "failing" || doc.Sites[0].Runs[0].Installer != "Workshop" {
		t.Fatalf("%+v", doc)
	}
	found := false
	for _, c := range doc.Sites[0].Runs[0].Failing {
		found = found || c.Kind == "joint" && c.Name == "west-north" && c.Source == "drift" && c.Verdict == "stepped"
	}
	if !found {
		t.Errorf("the joint is not among %+v", doc.Sites[0].Runs[0].Failing)
	}
	s.do(`ohmkeep fleet --db `+url).exits(Fails).prints("FAILING", "Hall b, 1 Castle", "joint west-north", "2 sites: 2 failing")
	s.do(`ohmkeep fleet --metrics --db `+url).exits(Passes).prints(`ohmkeep_fleet_failing_elements{kind="joint",place="1 Castle",site="Hall b",verdict="stepped"} 1`, `ohmkeep_fleet_sites{severity="failing"} 2`)
	s.do(`ohmkeep fleet site "Hall b" --label "the old one" --repair ` + time.Now().Add(time.Hour).Format(time.RFC3339) + ` --db ` + url).exits(Passes)
	if doc := list(); doc.Sites[0].Site != "Hall a" || doc.Sites[1].Severity != "in repair" || doc.Sites[1].Label != "the old one" {
		t.Errorf("%+v", doc)
	}
	if out, err := server.SQL("owner", "ohmkeep", "UPDATE ohmkeep.run SET heard = now() - interval '3 days'; DELETE FROM ohmkeep.verdict; UPDATE ohmkeep.site SET repair = NULL"); err != nil {
		t.Fatal(out)
	}
	s.do(`ohmkeep fleet --db `+url).exits(Unproven).prints("silent", "3 d ago")
	s.do(`ohmkeep fleet compare --db ` + url).exits(Passes).prints("nothing can be compared")
	s.do(`ohmkeep fleet remove "Hall b" --db `+url).exits(Passes).prints("reading", "0 left", "is deleted")
	s.do(`ohmkeep fleet remove "Hall b" --db ` + url).exits(Wrong).says("knows no site")
}

// The README's chapter on a firm, run in order and word for word with a real server in the place of
// central.example: PostgreSQL's own programs, its rule for pg_hba.conf, and this program's commands.
func TestReadmeOfAFirm(t *testing.T) {
	server := centraltest.Start(t)
	content, err := os.ReadFile(filepath.Join(showtest.Root(t), "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, chapter, _ := strings.Cut(string(content), "\n## A firm with many runs\n")
	chapter, _, _ = strings.Cut(chapter, "\n## ")
	s := newSession(t)
	s.board(20, 0, 0, 0)
	s.write("run.toml", strings.Replace(s.content("gallery.toml"), `"Gallery"`, `"Reading room cornice"`, 1)+strings.ReplaceAll(board("board", "/dev/no-such-port"), "left.", "west."))
	s.do(`ohmkeep import run.toml months.csv --store run.db`).exits(Passes)
	passwords := map[string]string{"ohmkeep": "one", "reading_room": "two"}
	s.write("owner.password", passwords["ohmkeep"]+"\n")
	s.write("site.password", passwords["reading_room"]+"\n")
	rule := regexp.MustCompile("`(hostssl ohmkeep .*?)`").FindStringSubmatch(chapter)
	if rule == nil {
		t.Fatal("the chapter has no line for pg_hba.conf")
	}
	server.Encrypt(centraltest.NewAuthority(t, "an authority of the test").Issue("central.example", time.Now().AddDate(1, 0, 0)))
	server.Allow(rule[1] + "\nhost ohmkeep all all reject\n") // and no other way in
	host := strings.TrimPrefix(strings.TrimSuffix(server.URL("x", ""), "/"), "postgres://x@")
	run := 0
	for _, b := range blocks(chapter) {
		if b.inline {
			continue
		}
		for line := range strings.Lines(b.text) {
			line, _, _ = strings.Cut(strings.TrimSpace(line), "  #")
			line = strings.ReplaceAll(strings.TrimSpace(line), "central.example", host)
			words := split(line)
			run++
			switch {
			case strings.HasPrefix(line, "sudo apt "):
			case strings.HasPrefix(line, "sudo -u postgres "):
				answers := ""
				if password := passwords[words[len(words)-1]]; slices.Contains(words, "--pwprompt") {
					answers = password + "\n" + password + "\n" // asked for twice
				}
				if out, err := server.Run(answers, words[3], words[4:]...); err != nil {
					t.Fatalf("$ %s\n%v %s", line, err, out)
				}
			case strings.HasPrefix(line, "ohmkeep watch "):
				ctx, cancel := context.WithCancel(t.Context())
				addr := s.freeAddress()
				w := &watching{session: s, addr: addr, cancel: cancel, ended: make(chan int, 1), out: &watchtest.Log{}}
				go func() {
					w.ended <- Run(ctx, append(words[1:], "--listen", addr, "--commit", "50ms", "--analyse-after", "1ms"), strings.NewReader(""), w.out, w.out)
				}()
				w.until("its mark of the start has arrived", func() bool {
					out, err := server.SQL("owner", "ohmkeep", "SELECT count(*) FROM ohmkeep.mark WHERE kind = 'restart'")
					return err == nil && strings.TrimSpace(out) == "1"
				})
				w.until("its verdicts have arrived", func() bool {
					out, err := server.SQL("owner", "ohmkeep", "SELECT count(DISTINCT taken) FROM ohmkeep.verdict WHERE source = 'drift'")
					return err == nil && strings.TrimSpace(out) == "2"
				})
				cancel()
				if status := <-w.ended; status != Passes {
					t.Errorf("$ %s\nexits %d\n%s", line, status, w.out)
				}
			case strings.Contains(line, " --listen "):
				ctx, cancel := context.WithCancel(t.Context())
				words[len(words)-1] = s.freeAddress()
				ended := make(chan int, 1)
				go func() { ended <- Run(ctx, words[1:], strings.NewReader(""), io.Discard, io.Discard) }()
				for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
					if _, page := fetch(t, "GET", "http://"+words[len(words)-1]+"/", "", ""); strings.Contains(page, "Reading room cornice") {
						break
					} else if time.Since(begun) > time.Minute {
						t.Fatalf("$ %s\nserves %s", line, page)
					}
				}
				cancel()
				if status := <-ended; status != Passes {
					t.Errorf("$ %s\nexits %d", line, status)
				}
			case words[0] == "ohmkeep":
				if o := s.do(line); o.status == Wrong || o.out == "" && words[2] != "site" {
					t.Errorf("$ %s\nexits %d\n%s%s", line, o.status, o.out, o.faults)
				}
			default:
				t.Errorf("a command of an unknown kind: %s", line)
			}
		}
	}
	if run < 14 {
		t.Errorf("%d commands run", run)
	}
}
