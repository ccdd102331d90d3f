package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/watch/watchtest"
)

// servedFleet is a command that serves the pages of a firm.
type servedFleet struct {
	session
	address string
	said    *watchtest.Log
}

// serveFleetPages serves the pages of a firm until the test ends, and checks that they end well.
func (s session) serveFleetPages(db string) *servedFleet {
	s.Helper()
	f := &servedFleet{session: s, address: s.freeAddress(), said: &watchtest.Log{}}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, split("fleet --db "+db+" --listen "+f.address), strings.NewReader(""), io.Discard, f.said)
	}()
	s.Cleanup(func() {
		stop()
		if status := <-ended; status != Passes {
			s.Errorf("the pages end with exit status %d\n%s", status, f.said)
		}
	})
	f.until("/", "ohmkeep")
	if want := "fleet: http://" + f.address + "/\n"; !strings.Contains(f.said.String(), want) {
		s.Errorf("says %s", f.said)
	}
	return f
}

// get returns the text of a page.
func (f *servedFleet) get(path string) string {
	f.Helper()
	_, text := fetch(f.T, "GET", "http://"+f.address+path, "", "")
	return text
}

// until waits until a page has a text, and returns the page.
func (f *servedFleet) until(path, want string) string {
	f.Helper()
	for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		text := f.get(path)
		if strings.Contains(text, want) {
			return text
		}
		if time.Since(begun) > time.Minute {
			f.Fatalf("%s never has %q:\n%s\n%s", path, want, text, f.said)
		}
	}
}

// halls ships two sites of an invented firm, of which a joint has failed, and returns their names.
func (s session) halls(db string) []string {
	s.board(40, 0.03, 20, 100)
	for _, site := range []string{"b", "a"} {
		s.write(site+".toml", "site = \"Hall "+site+"\"\n"+runtest.Gallery+"\n[installation]\nplace = \""+map[string]string{"a": "2 Harbour", "b": "1 Castle"}[site]+"\"\ninstaller = \"Workshop\"\n")
		s.do(`ohmkeep import ` + site + `.toml months.csv --store ` + site + `.db`).exits(Passes)
		s.do(`ohmkeep ship ` + site + `.toml --store ` + site + `.db --to ` + db).exits(Passes)
	}
	return []string{"a", "b"}
}

var siteLinks = regexp.MustCompile(`<a href="(/site/\d+)">([^<]*)</a>`)

// The pages have the sites of fleet --json in its order, with the same severities, and of each the
// same elements that fail, with the same verdicts and digits.
func TestFleetPages(t *testing.T) {
	server := centraltest.Start(t)
	db := server.Database("ohmkeep")
	s := newSession(t)
	s.halls(db)
	var doc jsondoc.FleetDoc
	if err := json.Unmarshal([]byte(s.do(`ohmkeep fleet --json --db `+db).exits(Fails).out), &doc); err != nil {
		t.Fatal(err)
	}
	f := s.serveFleetPages(db)
	list := f.get("/")
	links := siteLinks.FindAllStringSubmatch(list, -1)
	if len(links) != len(doc.Sites) || len(links) != 2 || !strings.Contains(list, "<b>FAILING</b> 2 sites: 2 failing") {
		t.Fatalf("%v\n%s", links, list)
	}
	causes := 0
	for i, site := range doc.Sites {
		if links[i][2] != site.Site {
			t.Errorf("site %d is %s, and %s in JSON", i, links[i][2], site.Site)
		}
		page := f.get(links[i][1])
		if !strings.Contains(page, "<b>"+strings.ToUpper(string(site.Severity))+"</b>") || !strings.Contains(page, site.Place) {
			t.Errorf("%+v\n%s", site, page)
		}
		for _, run := range site.Runs {
			if want := fmt.Sprintf("%d elements with a verdict, %d failing, %d unproven.", run.Elements, len(run.Failing), run.Unproven); !strings.Contains(page, want) {
				t.Errorf("no %q in\n%s", want, page)
			}
			for _, c := range run.Failing {
				causes++
				figure := number.MilliohmTenths
				if c.Source == "assess" {
					figure = number.Milliohms
				}
				of := func(n jsondoc.Number) string { return figure(float64(n) / 1000) }
				want := fmt.Sprintf(`<span class="word fail">%s</span></td><th scope="row" class="what">%s%s`, strings.ReplaceAll(c.Verdict, "stepped", "jumped"), strings.ToUpper(c.Kind[:1]), c.Kind[1:]+" "+c.Name)
				_, row, found := strings.Cut(page, want)
				row, _, _ = strings.Cut(row, "</tr>")
				for _, cell := range []string{of(c.Milliohms), of(c.Low) + " … " + of(c.High), of(c.LimitMilliohms), c.Source} {
					if !found || !strings.Contains(row, ">"+cell+"<") {
						t.Errorf("%+v: no %q in %q\n%s", c, cell, row, page)
					}
				}
			}
		}
	}
	if causes < 2 {
		t.Errorf("only %d elements fail", causes)
	}
	if text := f.get("/comparisons"); !strings.Contains(text, "Nothing can be compared") {
		t.Error(text)
	}
	if status, _ := fetch(t, "POST", "http://"+f.address+"/", "http://"+f.address, "x"); status != 405 {
		t.Errorf("POST: %d", status)
	}
	server.Kill()
	if text := f.get("/"); !strings.Contains(text, "cannot be read now") || strings.Contains(text, strconv.Itoa(server.Port)) {
		t.Errorf("without the server: %s", text)
	}
	server.Launch()
	f.until("/?"+url.Values{"q": {"castle"}}.Encode(), "Hall b")
}

// What is wrong with a call to serve pages is said at once.
func TestFleetPagesRefused(t *testing.T) {
	s := newSession(t)
	s.do(`ohmkeep fleet --listen 127.0.0.1:0`).exits(Wrong).says("wants --db URL")
	s.do(`ohmkeep fleet --db postgres://owner@127.0.0.1:1/ohmkeep --listen 127.0.0.1:0`).exits(Wrong).says("cannot be reached")
	s.do(`ohmkeep fleet --db postgres://owner@127.0.0.1:1/ohmkeep --open`).exits(Wrong).says("need --listen")
	s.do(`ohmkeep fleet --db postgres://owner@127.0.0.1:1/ohmkeep --json --listen 127.0.0.1:0`).exits(Wrong).says("json")
}

var parted = regexp.MustCompile(`(?s)<(?:section|div)[^>]* data-part="(todo|hang|elements|events|value|picture|repairs|months)".*?</(?:section|div)>\n`)

// sameParts compares the parts of a page that the central database shows as the run's own watch
// does, once the second page has been made of everything. skip are parts that only one has.
func sameParts(t *testing.T, name string, watch, central string, skip ...string) {
	t.Helper()
	of := func(page string) map[string]string {
		parts := map[string]string{}
		for _, m := range parted.FindAllStringSubmatch(page, -1) {
			parts[m[1]] = m[0]
		}
		return parts
	}
	a, b := of(watch), of(central)
	compared := 0
	for part, text := range a {
		if slices.Contains(skip, part) {
			continue
		}
		compared++
		if b[part] != text {
			t.Errorf("%s, %s: the watch shows\n%s\nand the central database\n%s", name, part, text, b[part])
		}
	}
	if compared == 0 {
		t.Errorf("%s: nothing compared in\n%s", name, watch)
	}
}

// The pages of a run from the central database have the same verdicts, digits, pictures and periods
// as those of its own watch, and the values of drift --json; what only the watch can do is not on
// them. Readings and notes that arrive later are in them too.
func TestRunFromCentralDatabase(t *testing.T) {
	server := centraltest.Start(t)
	db := server.Database("ohmkeep")
	s := newSession(t)
	s.board(40, 0.03, 20, 35)
	s.write("run.toml", "site = \"Hall/1 <b>\"\n"+s.content("gallery.toml")+strings.ReplaceAll(board("board", "/dev/no-such-port"), "left.", "west."))
	lines := strings.SplitAfter(s.content("months.csv"), "\n")
	half := len(lines) * 3 / 4
	s.write("first.csv", strings.Join(lines[:half], ""))
	s.write("rest.csv", lines[0]+strings.Join(lines[half:], ""))
	s.do(`ohmkeep import run.toml first.csv --store run.db`).exits(Passes)
	s.do(`ohmkeep ship run.toml --store run.db --to ` + db).exits(Passes)
	f := s.serveFleetPages(db)
	site := siteLinks.FindStringSubmatch(f.get("/"))[1]
	page := f.get(site)
	_, link, found := strings.Cut(page, `<a href="`+site+`/run/`)
	link, _, _ = strings.Cut(link, `"`)
	if !found {
		t.Fatal(page)
	}
	at := site + "/run/" + link
	f.until(at, `href="element?kind=joint`)
	for _, path := range []string{"note", "step", ""} {
		if status, text := fetch(t, "POST", "http://"+f.address+at+path, "http://"+f.address, "text=x"); status != 405 {
			t.Errorf("POST %s: %d %s", path, status, text)
		}
	}
	s.do(`ohmkeep import run.toml rest.csv --store run.db`).exits(Passes)
	s.do(`ohmkeep note run.toml --store run.db --at 2026-04-05T12:00:00Z "re-made joint west-north"`).exits(Passes)
	s.do(`ohmkeep ship run.toml --store run.db --to ` + db).exits(Passes)
	again := s.serveFleetPages(db) // looks at what has arrived since

	addr := s.freeAddress()
	ctx, stop := context.WithCancel(t.Context())
	w := &watching{session: s, addr: addr, cancel: stop, ended: make(chan int, 1), out: &watchtest.Log{}}
	go func() {
		w.ended <- Run(ctx, []string{"watch", "run.toml", "--store", "run.db", "--listen", addr, "--analyse-after", "1ms"}, strings.NewReader(""), w.out, w.out)
	}()
	t.Cleanup(func() { stop(); <-w.ended })
	own := func(path string) string { _, text := w.ask("GET", "/"+path, ""); return text }
	w.until("analysed", func() bool {
		return strings.Contains(own(""), "re-made joint west-north") && strings.Contains(own(""), `href="element?kind=joint`)
	})
	again.until(at, `href="element?kind=joint`)
	elements := func(text string) string {
		m := regexp.MustCompile(`(?s)<section class="elements".*?</section>`).FindString(text)
		return m
	}
	w.until("what was read by hand is the same", func() bool { return elements(own("")) == elements(again.get(at)) })
	watch, central := own(""), again.get(at)
	sameParts(t, "the run", watch, central, "todo", "events") // the watch has its start among the events, and its state above
	for _, want := range []string{"CENTRAL DATA", "Last heard of its watch on ", "at the site&#39;s own watch", "Sensors", "Hall/1 &lt;b&gt;", `<a href="sensor?channel=1&amp;probe=board">Voltage from west.start`} {
		if !strings.Contains(strings.ReplaceAll(central, "site's", "site&#39;s"), want) {
			t.Errorf("no %q in\n%s", want, central)
		}
	}
	for _, not := range []string{"Note a repair", "Announce", "<form method", "Volts and amps now", "/metrics"} {
		if strings.Contains(central, not) {
			t.Errorf("%q in\n%s", not, central)
		}
	}
	var drift jsondoc.DriftDoc
	if err := json.Unmarshal([]byte(s.do("ohmkeep drift run.toml --json --db "+db).out), &drift); err != nil {
		t.Fatal(err)
	}
	if len(drift.Series) < 4 {
		t.Fatalf("%+v", drift)
	}
	for _, x := range drift.Series {
		path := "element?" + url.Values{"kind": {string(x.Kind)}, "name": {x.Name}}.Encode()
		sameParts(t, path, own(path), again.get(at+path))
		sameParts(t, path+" closer", own(path+"&last=month"), again.get(at+path+"&last=month"))
		if want := fmt.Sprintf("%s mΩ at 20 °C, 95 %% interval %s … %s mΩ", number.MilliohmTenths(float64(x.Milliohms)/1000), number.MilliohmTenths(float64(x.Low)/1000), number.MilliohmTenths(float64(x.High)/1000)); !strings.Contains(again.get(at+path), want) {
			t.Errorf("%s: no %q", path, want)
		}
	}
	for _, window := range []string{"", "&last=week", "&all=1", "&from=2026-04-01T10%3A00&to=2026-04-02T11%3A00"} {
		path := "sensor?probe=board&channel=1" + window
		after := func(text string) string {
			return text[strings.Index(text, `<h2 id="picture">`):strings.Index(text, "<footer>")]
		}
		if a, b := after(own(path)), after(again.get(at+path)); a != b || !strings.Contains(a, "Least ") {
			t.Errorf("%s: the watch shows\n%s\nand the central database\n%s", path, a, b)
		}
	}
	if text := again.get(at + "events"); !strings.Contains(text, "re-made joint west-north") {
		t.Error(text)
	}
	if r, err := http.Get("http://" + again.address + at + "live/events"); err != nil || r.StatusCode != 200 { // it is open when the pages end
		t.Errorf("%v %v", r, err)
	}
	if status, text := fetch(t, "GET", "http://"+f.address+site+"/run/nothing/", "", ""); status != 404 || !strings.Contains(text, "has no run") {
		t.Errorf("%d %s", status, text)
	}
}
