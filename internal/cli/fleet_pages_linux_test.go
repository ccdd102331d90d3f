package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"regexp"
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
