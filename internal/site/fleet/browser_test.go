package fleet

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"ohmkeep/internal/site/browsertest"
	"ohmkeep/internal/web/access"
)

// screens are those that every page is looked at on.
var screens = []browsertest.Screen{browsertest.Phone, browsertest.Phone.InDark(), browsertest.Tablet, browsertest.Tablet.InDark(),
	browsertest.Desk, browsertest.Desk.InDark(), browsertest.Wall}

// looked are the pages of the invented firm.
var looked = []struct{ name, path string }{
	{"sites", "/"}, {"found", "/?q=harbour"}, {"site", "/site/7"}, {"comparisons", "/comparisons"},
}

// Every page fits every screen in both colour schemes, all that can be pressed is large enough, and
// a page with its files weighs at most 100 KB, also that of many sites.
func TestScreens(t *testing.T) {
	b := browsertest.Start(t)
	s := serve(t, invent().many(200), access.Options{})
	for _, screen := range screens {
		tab := b.Tab(t, screen)
		for _, page := range looked {
			tab.Open(s.URL + page.path)
			tab.TooWide(page.name)
			tab.SmallTargets(page.name)
			if weight := tab.Weigh(); weight.Bytes > 100_000 {
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
