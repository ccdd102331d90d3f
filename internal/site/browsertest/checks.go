package browsertest

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/chromedp/chromedp"
)

// Pictures reports whether pictures are kept.
func Pictures() bool { return *pictures != "" }

// Picture keeps a picture of the whole page as NAME-WIDTH-SCHEME.png in the folder of -pictures.
func (tab *Tab) Picture(name string) {
	tab.t.Helper()
	if *pictures == "" {
		return
	}
	b, err := chromedp.Run(tab.ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.MkdirAll(*pictures, 0o777)
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(*pictures, fmt.Sprintf("%s-%v.png", name, tab.screen)), b, 0o666)
	}
	if err != nil {
		tab.t.Fatal(err)
	}
}

// Print keeps a picture of the page as it is printed, as NAME-print-….
func (tab *Tab) Print(name string) {
	tab.t.Helper()
	tab.media("print")
	tab.Picture(name + "-print")
	tab.media("")
}

// Axe fails the test if axe-core finds a violation that is serious or critical on the page as it
// is now, and logs the lesser ones. The test skips if -axe is not set.
func (tab *Tab) Axe(name string) {
	tab.t.Helper()
	if *axe == "" {
		tab.t.Skip("axe-core is not installed; -axe FILE names its axe.min.js")
	}
	script, err := os.ReadFile(*axe)
	if err != nil {
		tab.t.Fatal(err)
	}
	tab.Do(chromedp.Evaluate[chromedp.Void](string(script)))
	type violation struct {
		ID, Impact, Help string
		Nodes            []struct{ HTML, FailureSummary string }
	}
	result := Value[struct {
		Violations []violation
		Passes     int
	}](tab, `axe.run(document).then(r => ({violations: r.violations.map(v => ({id: v.id, impact: v.impact, help: v.help,
		nodes: v.nodes.map(n => ({html: n.html, failureSummary: n.failureSummary}))})), passes: r.passes.length}))`)
	if result.Passes < 5 {
		tab.t.Errorf("%s, %v: only %d rules of axe-core applied", name, tab.screen, result.Passes)
	}
	serious := 0
	for _, v := range result.Violations {
		text := fmt.Sprintf("%s, %v: %s: %s: %s", name, tab.screen, v.Impact, v.ID, v.Help)
		for _, n := range v.Nodes {
			text += "\n\t" + n.HTML + "\n\t" + n.FailureSummary
		}
		if v.Impact == "serious" || v.Impact == "critical" {
			serious++
			tab.t.Error(text)
		} else {
			tab.t.Log(text)
		}
	}
	tab.t.Logf("axe-core: %s, %v: %d rules passed, %d violations, %d of them serious", name, tab.screen, result.Passes, len(result.Violations), serious)
}

// TooWide fails the test if the page is wider than its window, so that a reader must scroll
// sideways.
func (tab *Tab) TooWide(name string) {
	tab.t.Helper()
	if wide := Value[int64](tab, "document.documentElement.scrollWidth"); wide > tab.screen.Width {
		which := Value[string](tab, `[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80)).slice(0, 5).join("\n")`)
		tab.t.Errorf("%s is %d px wide on a screen of %d px:\n%s", name, wide, tab.screen.Width, which)
	}
}

// SmallTargets fails the test if something that can be pressed is lower than 48 px or narrower,
// except for links within a sentence.
func (tab *Tab) SmallTargets(name string) {
	tab.t.Helper()
	small := Value[[]string](tab, `[...document.querySelectorAll("button, .act, nav a, select, input, textarea, summary")]
		.filter(e => e.checkVisibility() && !(e.type == "checkbox" || e.type == "radio"))
		.filter(e => { const r = e.getBoundingClientRect(); return r.height < 47.5 || r.width < 47.5; })
		.map(e => e.outerHTML.slice(0, 100))`)
	for _, html := range small {
		tab.t.Errorf("%s: too small to press: %s", name, html)
	}
}

// Weight is what a page needs to be shown.
type Weight struct {
	Bytes        int           // of the page and all its files as they are sent to a first visit, with their headers
	Requests     int           // the page included
	FirstContent time.Duration // from the request to the first paint of content
	Loaded       time.Duration // from the request to the end of loading
}

// Weigh returns what the page that is open has needed; a stream of events that is still open does
// not count.
func (tab *Tab) Weigh() Weight {
	tab.t.Helper()
	tab.Until(`performance.getEntriesByName("first-contentful-paint").length && performance.getEntriesByType("navigation")[0].loadEventEnd`)
	type times struct {
		Bytes, Requests int
		First, Loaded   float64 // ms
	}
	w := Value[times](tab, `(() => {
		const page = performance.getEntriesByType("navigation")[0], files = performance.getEntriesByType("resource");
		const size = (f) => Math.max(f.transferSize, f.encodedBodySize + 300);
		return {bytes: size(page) + files.reduce((sum, f) => sum + size(f), 0), requests: 1 + files.length,
			first: performance.getEntriesByName("first-contentful-paint")[0].startTime, loaded: page.loadEventEnd};
	})()`)
	ms := func(x float64) time.Duration {
		return time.Duration(x * float64(time.Millisecond)).Round(time.Millisecond)
	}
	return Weight{w.Bytes, w.Requests, ms(w.First), ms(w.Loaded)}
}
