package fleet

import (
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/site/browsertest"
	"ohmkeep/internal/web/access"
)

// screens are those that every page is looked at on.
var screens = []browsertest.Screen{browsertest.Phone, browsertest.Phone.InDark(), browsertest.Tablet, browsertest.Tablet.InDark(),
	browsertest.Desk, browsertest.Desk.InDark(), browsertest.Wall}

// looked are the pages of the invented firm.
var looked = []struct{ name, path string }{
	{"sites", "/"}, {"found", "/?q=harbour"}, {"site", "/site/7"}, {"comparisons", "/comparisons"},
	{"run", "/site/7/run/Cornice/"}, {"element", "/site/7/run/Cornice/element?kind=joint&name=west-north"}, {"sensor", "/site/7/run/Cornice/sensor?probe=board&channel=1"},
}

// Every page fits every screen in both colour schemes, all that can be pressed is large enough, and
// a page with its files weighs at most 100 KB, also that of many sites; one with a picture 200 KB.
func TestScreens(t *testing.T) {
	b := browsertest.Start(t)
	s := serve(t, invent().many(200), access.Options{})
	for _, screen := range screens {
		tab := b.Tab(t, screen)
		for _, page := range looked {
			tab.Open(s.URL + page.path)
			tab.TooWide(page.name)
			tab.SmallTargets(page.name)
			if weight := tab.Weigh(); weight.Bytes > 100_000 && !strings.Contains(page.path, "/run/") || weight.Bytes > 200_000 {
				t.Errorf("%v: %s: %d bytes in %d requests", screen, page.name, weight.Bytes, weight.Requests)
			}
			tab.Picture("fleet-" + page.name)
			if screen == browsertest.Desk {
				tab.Print("fleet-" + page.name)
			}
		}
	}
}

// axe-core finds nothing serious on any page, in either scheme.
func TestAccessible(t *testing.T) {
	b := browsertest.Start(t)
	s := serve(t, invent().many(20), access.Options{})
	for _, screen := range []browsertest.Screen{browsertest.Phone, browsertest.Phone.InDark(), browsertest.Desk, browsertest.Desk.InDark()} {
		tab := b.Tab(t, screen)
		for _, page := range looked {
			tab.Open(s.URL + page.path)
			tab.Axe(page.name)
		}
	}
}

// All can be done with the keyboard: skip to the content, choose a severity, find a text, open a
// site, go back; with the token of a firm, log in and out.
func TestKeyboardOnly(t *testing.T) {
	b := browsertest.Start(t)
	path := filepath.Join(t.TempDir(), "token")
	token, err := access.MakeToken(path)
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, invent(), access.Options{TokenFile: path})
	tab := b.Tab(t, browsertest.Desk)
	tab.Open(s.URL)
	tab.Until(`document.querySelector("#token")`)
	tab.Type(token + kb.Enter)
	tab.Until(`document.querySelector("h1")?.textContent == "What needs a visit"`)
	tab.Type(kb.Tab)
	if text := tab.Text(":focus"); text != "Skip to the content" {
		t.Errorf("the first is %q", text)
	}
	tab.Type(kb.Enter)
	to := func(text string) {
		t.Helper()
		for range 40 {
			tab.Type(kb.Tab)
			name := browsertest.Value[string](tab, `(document.activeElement.id || document.activeElement.textContent).trim()`)
			if browsertest.Value[string](tab, `getComputedStyle(document.activeElement).outlineStyle`) == "none" {
				t.Errorf("the focus on %q cannot be seen", name)
			}
			if name == text {
				return
			}
		}
		t.Fatalf("%q is never reached", text)
	}
	to("sound 1")
	tab.Type(kb.Enter)
	tab.Until(`document.querySelector("a.choice[aria-current]")?.textContent == "sound 1"`)
	to("all 5")
	tab.Type(kb.Enter)
	tab.Until(`document.querySelectorAll("table.sites tbody tr").length == 5`)
	to("q")
	tab.Type("west-north" + kb.Enter)
	tab.Until(`document.querySelector("#list")?.textContent == "1 site with “west-north”"`)
	to("Map room <b>")
	tab.Type(kb.Enter)
	tab.Until(`document.querySelector("h1")?.textContent == "Map room <b>"`)
	to("All sites")
	tab.Type(kb.Enter)
	tab.Until(`document.querySelectorAll("table.sites tbody tr").length == 5`)
	if text := tab.Text("main"); !strings.Contains(text, "Log out") {
		t.Error(text)
	}
	to("Log out")
	tab.Type(kb.Enter)
	tab.Until(`document.querySelector("#token")`)
}

// From the list one comes to a site, its run, an element and its history, and back. A page of a run
// that is being analysed shows the result by itself.
func TestWayInBrowser(t *testing.T) {
	b := browsertest.Start(t)
	f := invent()
	s := serve(t, f, access.Options{})
	tab := b.Tab(t, browsertest.Phone)
	tab.Open(s.URL)
	for _, step := range []struct{ press, then string }{
		{`a[href="/site/7"]`, "Map room <b>"}, {`a[href="/site/7/run/Cornice/"]`, "Map room cornice"}, {`a[href="element?kind=joint&name=west-north"]`, "Joint west-north"},
		{`a.choice[href*="last=year"]`, "Joint west-north"}, {`.back a`, "Map room cornice"}, {`a[href="sensor?channel=1&probe=board"]`, "Voltage from west.start+ to west.start-"}, {`.back a`, "Map room cornice"},
		{`a[href="events"]`, "What happened"}, {`.back a`, "Map room cornice"}, {`.back a`, "Map room <b>"}, {`a[href="/"]`, "What needs a visit"},
	} {
		tab.Press(step.press)
		tab.Until(`document.querySelector("h1")?.textContent == ` + strconv.Quote(step.then))
	}
	tab.Open(s.URL + "/site/9/run/Jetty/")
	tab.Until(`document.querySelector(".verdict b").textContent == "NOT ANALYSED YET"`)
	tab.Picture("fleet-analysing")
	x := f.followed["9 Jetty"]
	x.mu.Lock()
	x.history, x.arrival.Analysing = showtest.History(), false
	x.mu.Unlock()
	close(x.ready)
	t.Logf("the result is shown after %v", tab.Until(`document.querySelector(".verdict b").textContent == "LOOK" && document.querySelector('a[href^="element?"]')`))
}
