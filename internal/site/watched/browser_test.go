package watched

import (
	"testing"

	"ohmkeep/internal/site/browsertest"
	"ohmkeep/internal/web/access"
)

// screens are those that every page is looked at on.
var screens = []browsertest.Screen{browsertest.Phone, browsertest.Phone.InDark(), browsertest.Tablet, browsertest.Tablet.InDark(),
	browsertest.Desk, browsertest.Desk.InDark(), browsertest.Wall}

// pages are the pages over the simulated record.
var pages = map[string]string{
	"run": "/", "element": "/element?kind=joint&name=lower-middle", "feed": "/element?kind=feed&name=far&last=quarter",
	"sensor": "/sensor?probe=board&channel=1", "events": "/events",
}

// Every page fits every screen in both colour schemes, all that can be pressed is large enough, and
// a page and its files weigh at most 200 KB and show their first content within 200 ms.
func TestScreens(t *testing.T) {
	b := browsertest.Start(t)
	w := begin(t, true, access.Options{})
	w.untilAnalysed()
	for _, s := range screens {
		tab := b.Tab(t, s)
		for name, path := range pages {
			tab.Open(w.url(path))
			tab.Until(`document.querySelector(".age")?.textContent != ""`)
			tab.TooWide(name)
			tab.SmallTargets(name)
			weight := tab.Weigh()
			t.Logf("%v: %s: %d bytes in %d requests, first content after %v, loaded after %v", s, name, weight.Bytes, weight.Requests, weight.FirstContent, weight.Loaded)
			tab.Picture(name)
			if s == browsertest.Desk {
				tab.Print(name)
			}
		}
	}
}
