//go:build unix

package cli

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/watch/watchtest"
)

// notRun are the commands of the README that the test does not run, by how they begin,
// with the reason.
var notRun = map[string]string{
	"go test ./...":        "it would run this test",
	"go install ":          "it installs into the machine; .ci/run builds the same program",
	"go doc ./probes":      "it prints a comment of the source",
	"internal/release/deb": ".ci/run builds, installs and removes the package",
	"ohmkeep watch run.toml --store run.db --listen 0.0.0.0": "that watch runs already, on this machine alone; TestWatchWithToken starts one",
	"ohmkeep survey run.toml --store run.db --listen":        "it would not end; TestSurveyServed serves a walk",
	"ohmkeep probe find":    "it would search the ports of the machine; TestProbeFind searches simulated ones",
	"ohmkeep probe compare": "TestProbeCompare compares simulated meters",
	"sudo ":                 "TestReadmeOfAFirm runs its like with a server",
	"ohmkeep fleet ":        "TestReadmeOfAFirm runs it with a server",
	"ohmkeep ship run.toml --store run.db --to ":    "TestReadmeOfAFirm runs it with a server",
	"ohmkeep watch run.toml --store run.db --ship ": "TestReadmeOfAFirm runs it with a server",
	"ohmkeep drift run.toml --db ":                  "TestReadmeOfAFirm runs it with a server",
	"systemctl ":                                    "it needs root and a running service manager",
}

// keptPictures are the pictures that testdata keeps of what the README's commands draw, by how those begin.
var keptPictures = map[string]string{
	"ohmkeep assess testdata/commissioning/run.toml testdata/commissioning/readings.csv --report ": "commissioning/resistances.png",
	"ohmkeep colour testdata/colour/": "colour/colour.png",
	"ohmkeep repair testdata/colour/": "colour/repairs.png",
}

// reader is a person who types each command of the README as it comes.
type reader struct {
	session
	examples string // the project's folder of them
	port     string // where the board of the page's run file is
	board    *devices.Pair
	addr     string // where its watch listens
	watch    *watching
	seen     map[string]int // how many commands were run, by their first words; notRun's too
	out      string         // of the last command
}

// The whole README, run in order on a clean machine: in an empty folder with the examples,
// as an archive brings them, and with no home, each command that it shows in a block works,
// prints what the README shows under it, and draws what testdata keeps. With -update the README's blocks and the
// pictures are written again.
func TestReadmeInOrder(t *testing.T) {
	examples := testdata(t)
	content, err := os.ReadFile(filepath.Join(showtest.Root(t), "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	readme := showtest.Readme(t)
	s := newSession(t)
	t.Setenv("HOME", t.TempDir())
	if err := os.CopyFS("testdata", os.DirFS(examples)); err != nil {
		t.Fatal(err)
	}
	board := s.terminal()
	p := &reader{session: s, examples: examples, board: board, port: board.Path, addr: s.freeAddress(), seen: map[string]int{}}
	for _, b := range blocks(string(content)) {
		switch first, _, _ := strings.Cut(b.text, "\n"); {
		case b.shows != "":
			if !strings.HasPrefix(b.shows, "printed by ") || strings.HasPrefix(b.shows, "printed by drift ") {
				continue // another test holds it, such as TestDriftAfterANote
			}
			readme.Shows(t, b.shows, p.out)
		case b.inline:
			p.inline(b.text)
		case strings.HasPrefix(first, "[["):
			p.write("run.toml", p.content("run.toml")+strings.ReplaceAll(b.text, "/dev/serial/by-id/…", p.port))
			p.do("ohmkeep predict run.toml").exits(Passes)
		case first == "[mqtt]":
			p.write("broker.toml", p.content("run.toml")+b.text) // there is no such broker here
			p.do("ohmkeep predict broker.toml").exits(Passes)
		case strings.HasPrefix(first, "time,"):
			p.write("typed.csv", b.text)
			if o := p.do("ohmkeep assess run.toml typed.csv"); o.status == Wrong {
				t.Errorf("the README's readings: %s", o.faults)
			}
		default:
			for line := range strings.Lines(b.text) {
				p.command(strings.TrimSpace(line))
			}
		}
	}
	if p.watch == nil {
		t.Fatal("no watch was started")
	}
	p.watch.ends()
	for _, name := range []string{"run.toml", "volts.png", "readings.csv", "readings.html", "run.db", "cornice.html", "board.txt", "years.html", "ohmkeep-demo/report.html"} {
		if !p.is(lighter(name)) {
			t.Errorf("the README's commands wrote no %s", name)
		}
	}
	for begin := range notRun {
		if p.seen[begin] == 0 {
			t.Errorf("the README has no %q any more", begin)
		}
	}
	for begin := range keptPictures {
		if p.seen[begin] != 1 {
			t.Errorf("the README has %d commands %q", p.seen[begin], begin)
		}
	}
	if p.seen["ohmkeep"] < 14 || p.seen["curl"] < 1 || p.seen["inline"] < 30 {
		t.Errorf("run: %v", p.seen)
	}
}

// block is a part of the README that is code: indented or between fences, or a span within
// a line. shows is what a comment before it says that it shows.
type block struct {
	text, shows string
	inline      bool
}

var codeSpan = regexp.MustCompile("`([^`]+)`")

// blocks returns the code of a page in order.
func blocks(content string) (all []block) {
	var prose, indented, shows, fenced string
	inFence := false
	flush := func() {
		for _, m := range codeSpan.FindAllStringSubmatch(strings.ReplaceAll(prose, "\n", " "), -1) {
			all = append(all, block{text: m[1], inline: true})
		}
		if indented != "" {
			all = append(all, block{text: indented})
		}
		prose, indented = "", ""
	}
	for line := range strings.Lines(content) {
		code, isCode := strings.CutPrefix(line, "    ")
		if !isCode && strings.HasPrefix(line, "      ") {
			code, isCode = line, true
		}
		switch {
		case strings.HasPrefix(line, "```"):
			if inFence {
				all = append(all, block{text: fenced, shows: shows})
				shows, fenced = "", ""
			}
			flush()
			inFence = !inFence
		case inFence:
			fenced += line
		case strings.HasPrefix(line, "<!-- ") && strings.Contains(line, "; a test keeps it true"):
			shows, _, _ = strings.Cut(strings.TrimPrefix(line, "<!-- "), ";")
		case isCode && (prose == "" || strings.HasSuffix(prose, "\n\n")) || indented != "" && isCode:
			if prose != "" {
				flush()
			}
			indented += strings.TrimPrefix(code, "  ")
		default:
			if indented != "" && strings.TrimSpace(line) != "" {
				flush()
			}
			prose += line
		}
	}
	flush()
	return all
}

// inline runs a command within a sentence where it can be run as it stands; of others the
// words and flags are right.
func (p *reader) inline(text string) {
	p.Helper()
	words := split(text)
	switch {
	case strings.HasPrefix(text, "curl "), p.skipped(text):
		p.command(text)
	case words[0] == "ohmkeep" && (strings.Contains(text, "run.toml") || strings.Contains(text, "run.db")):
		p.command(text)
	case words[0] == "ohmkeep" && len(words) > 1:
		p.seen["inline"]++
		c, rest, err := newRoot(strings.NewReader(""), io.Discard, io.Discard).Find(withoutPlaceholders(words[1:]))
		if err != nil || c.HasSubCommands() && len(rest) > 0 && !strings.HasPrefix(rest[0], "-") {
			p.Errorf("`%s`: there is no such command", text)
			return
		}
		c.InitDefaultVersionFlag()
		if err := c.ParseFlags(rest); err != nil {
			p.Errorf("`%s`: %v", text, err)
		}
	}
}

// withoutPlaceholders returns arguments without words in capitals, such as RUN; one that
// stands for a flag's value becomes a value.
func withoutPlaceholders(words []string) (args []string) {
	for _, w := range words {
		switch {
		case strings.ToUpper(w) != w || strings.HasPrefix(w, "-"):
			args = append(args, w)
		case len(args) > 0 && strings.HasPrefix(args[len(args)-1], "--"):
			args = append(args, "1")
		}
	}
	return args
}

// skipped counts a command that the test does not run.
func (p *reader) skipped(line string) bool {
	for begin, why := range notRun {
		if strings.HasPrefix(line, begin) {
			if p.seen[begin]++; p.seen[begin] == 1 {
				p.Logf("not run: %s (%s)", line, why)
			}
			return true
		}
	}
	return false
}

// command runs one line of the README.
func (p *reader) command(line string) {
	p.Helper()
	line, _, _ = strings.Cut(line, "  #")
	line = strings.TrimSpace(strings.Replace(line, "go run ./cmd/ohmkeep", "ohmkeep", 1))
	line = strings.NewReplacer("127.0.0.1:9477", p.addr, "cabinet:9477", p.addr).Replace(line)
	if p.skipped(line) || p.drawn(line) {
		return
	}
	line = lighter(line)
	words := split(line)
	p.seen[words[0]]++
	switch {
	case words[0] == "curl":
		p.curl(words)
	case strings.HasPrefix(line, "ohmkeep survey "):
		person := newSurveyor(p.T, runtest.Parse(p, p.content("run.toml")))
		var out bytes.Buffer
		if status := Run(p.Context(), split(line)[1:], person, &out, person); status != Passes || !strings.Contains(person.text(), "Done: ") {
			p.Errorf("$ %s\nexits %d: %s\n%s", line, status, out.String(), person.text())
		}
	case strings.HasPrefix(line, "ohmkeep probe check "), strings.HasPrefix(line, "ohmkeep probe record "):
		p.spoken(line)
	case strings.HasPrefix(line, "ohmkeep watch "):
		p.watched(line)
	case words[0] == "ohmkeep":
		o := p.do(line)
		if p.out = o.out; o.status == Wrong {
			p.Errorf("$ %s\n%s", line, o.faults)
		}
	default:
		p.Errorf("a command of an unknown kind: %s", line)
	}
}

// drawn runs a command whose picture testdata keeps, and reports whether the line is one. Such a command finds a
// failing element.
func (p *reader) drawn(line string) bool {
	p.Helper()
	for begin, kept := range keptPictures {
		if !strings.HasPrefix(line, begin) {
			continue
		}
		p.seen[begin]++
		line, _, _ := strings.Cut(line, " --picture ")
		picture := filepath.Base(kept)
		p.out = p.do(line + " --picture " + picture).exits(Fails).out
		showtest.Picture(p.T, filepath.Join(p.examples, kept), []byte(p.content(picture)))
		return true
	}
	return false
}

// boardLines is what the board of the README says again and again.
const boardLines = "# board\nnear,1.13,A\nstart,4.947,V\n"

// spoken runs a command that listens to the board, until it has heard something.
func (p *reader) spoken(line string) {
	p.Helper()
	ctx, stop := context.WithCancel(p.Context())
	defer stop()
	go func() {
		for range 5 {
			time.Sleep(50 * time.Millisecond)
			_, _ = io.WriteString(p.board.Device, boardLines) // what is not heard is said below
		}
		stop() // as Ctrl-C does
	}()
	if o := p.during(ctx, "", line); o.status != Passes && !strings.Contains(o.faults, "stopped") {
		p.Errorf("$ %s\nexits %d\n%s%s", line, o.status, o.out, o.faults)
	}
	<-ctx.Done()
}

// watched starts the README's watch, which runs for as long as the rest of the page.
func (p *reader) watched(line string) {
	p.Helper()
	ctx, cancel := context.WithCancel(p.Context())
	w := &watching{session: p.session, addr: p.addr, cancel: cancel, ended: make(chan int, 1), out: &watchtest.Log{}}
	go func() { w.ended <- Run(ctx, split(line)[1:], strings.NewReader(""), w.out, w.out) }()
	p.Cleanup(func() { cancel(); <-w.ended })
	w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
	p.say(p.board, boardLines)
	w.shows(`ohmkeep_current_amperes{feed="near",run="Reading room cornice"} 1.13`)
	if _, text := w.ask("GET", "/", ""); !strings.Contains(text, "Reading room cornice") {
		p.Errorf("the page:\n%s", text)
	}
	p.watch = w
}

// curl does what curl does with --data and an address.
func (p *reader) curl(words []string) {
	p.Helper()
	if len(words) != 4 || words[1] != "--data" {
		p.Fatalf("%q", words)
	}
	answer, err := http.Post(words[3], "application/x-www-form-urlencoded", strings.NewReader(words[2]))
	if err != nil {
		p.Fatal(err)
	}
	defer answer.Body.Close()
	if answer.StatusCode >= 300 {
		text, _ := io.ReadAll(answer.Body)
		p.Errorf("%q: %s\n%s", words, answer.Status, text)
	}
}
