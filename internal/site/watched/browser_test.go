package watched

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"ohmkeep/internal/site/browsertest"
	"ohmkeep/internal/web/access"
)

// screens are those that every page is looked at on.
var screens = []browsertest.Screen{browsertest.Phone, browsertest.Phone.InDark(), browsertest.Tablet, browsertest.Tablet.InDark(),
	browsertest.Desk, browsertest.Desk.InDark(), browsertest.Wall}

// pages are the pages over the simulated record.
var pages = []struct{ name, path string }{
	{"run", "/"}, {"element", "/element?kind=joint&name=lower-middle"}, {"feed", "/element?kind=feed&name=far&last=quarter"},
	{"sensor", "/sensor?probe=board&channel=1&last=hour"}, {"years", "/sensor?probe=board&channel=3&last=year"}, {"events", "/events"},
}

// Every page fits every screen in both colour schemes, all that can be pressed is large enough, and
// a page with its files weighs at most 200 KB.
func TestScreens(t *testing.T) {
	b := browsertest.Start(t)
	w := begin(t, true, access.Options{})
	w.untilAnalysed()
	w.note(remadeAt(), "re-made joint 1, solder had cracked")
	for _, s := range screens {
		if s.Dark && s.Width != browsertest.Tablet.Width && !browsertest.Pictures() {
			continue // the layout is that of the light scheme
		}
		tab := b.Tab(t, s)
		for _, page := range pages {
			tab.Open(w.url(page.path))
			tab.Until(`document.querySelector(".age")?.textContent != ""`)
			tab.TooWide(page.name)
			tab.SmallTargets(page.name)
			weight := tab.Weigh()
			t.Logf("%v: %s: %d bytes in %d requests", s, page.name, weight.Bytes, weight.Requests)
			if weight.Bytes > 200_000 {
				t.Errorf("%v: %s: %d bytes", s, page.name, weight.Bytes)
			}
			tab.Picture(page.name)
			if s == browsertest.Desk {
				tab.Print(page.name)
			}
		}
	}
}

// axe-core finds nothing serious on any page, in either scheme.
func TestAccessible(t *testing.T) {
	b := browsertest.Start(t)
	w := begin(t, true, access.Options{})
	w.untilAnalysed()
	for _, s := range []browsertest.Screen{browsertest.Phone, browsertest.Desk.InDark()} {
		tab := b.Tab(t, s)
		for _, page := range pages {
			tab.Open(w.url(page.path))
			tab.Until(`document.querySelector(".age")?.textContent != ""`)
			tab.Axe(page.name)
		}
	}
}

// The page of the run is complete at once on loopback, and its first content is painted within
// 200 ms. The fastest of several loads counts, because others use the machine too. Where even a page of one word
// takes so long that the machine is plainly busy, the page of the run may take fiveWords times as long.
func TestFirstContent(t *testing.T) {
	const fiveWords = 5
	b := browsertest.Start(t)
	w := begin(t, true, access.Options{})
	w.untilAnalysed()
	word := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		io.WriteString(w, `<!doctype html><link rel="icon" href="data:,"><title>a word</title><p>a word`)
	}))
	defer word.Close()
	tab := b.Tab(t, browsertest.Desk)
	var paints, ofWord []time.Duration
	for range 10 {
		tab.Open(word.URL)
		ofWord = append(ofWord, tab.Weigh().FirstContent)
		tab.Open(w.url("/"))
		weight := tab.Weigh()
		paints = append(paints, weight.FirstContent)
		t.Logf("the page of the run: %d bytes in %d requests, first content after %v, loaded after %v; a word after %v",
			weight.Bytes, weight.Requests, weight.FirstContent, weight.Loaded, ofWord[len(ofWord)-1])
	}
	if best, most := slices.Min(paints), max(200*time.Millisecond, fiveWords*slices.Min(ofWord)); best > most {
		t.Errorf("first content after %v, want at most %v", best, most)
	}
	tab.Open("about:blank") // it holds a connection
}

// From the first visit on the page follows the board: a value, an announced step, a board that is
// unplugged.
func TestLiveUpdate(t *testing.T) {
	b := browsertest.Start(t)
	w := begin(t, false, access.Options{})
	tab := b.Tab(t, browsertest.Phone)
	tab.Open(w.url("/"))
	tab.Until(value("1", "5.020 V"))
	w.volts.Store(4873)
	t.Logf("a new value is shown after %v", tab.Until(value("1", "4.873 V")))
	tab.Until(`document.querySelector('[data-channel="board/1"] .age').textContent.match(/^[01] s ago$/)`)
	browsertest.Value[int](tab, `(() => { window.heard = []; const said = document.querySelector("#said");
		new MutationObserver(() => heard.push(said.textContent)).observe(said, {childList: true, characterData: true, subtree: true}); return 0; })()`)
	browsertest.Value[string](tab, `document.querySelector("#step").value = "check"`)
	tab.Press("#step-form button")
	t.Logf("an announced step is shown after %v", tab.Until(`document.querySelector("#step-now").textContent == "check"`))
	tab.Until(`heard.includes("Step announced: check")`) // by a reader of the screen
	browsertest.Value[string](tab, `document.querySelector("#settle").value = "600"; document.querySelector("#step-form").noValidate = true; ""`)
	tab.Press("#step-form button")
	tab.Until(`document.querySelector("#step-form .fault").textContent.includes("0 to 60")`)
	w.silent.Store(true)
	tab.Until(`parseInt(document.querySelector('[data-channel="board/1"] .age').textContent) >= 3`)
	w.board.Close()
	t.Logf("a board that is unplugged is shown after %v", tab.Until(`document.querySelector(".verdict.fail b")?.textContent == "TROUBLE"`))
	tab.Until(`!document.querySelector('[data-channel="board/1"] .state').hidden`)
	tab.Picture("unplugged")
}

// value is the condition that a channel's value is shown.
func value(channel, text string) string {
	return fmt.Sprintf(`document.querySelector('[data-channel="board/%s"] .value').textContent == %q`, channel, text)
}

// A daemon that is gone is shown at once; when it is back the page finds it by itself, and shows
// what has changed meanwhile.
func TestLostDaemon(t *testing.T) {
	b := browsertest.Start(t)
	w := begin(t, false, access.Options{})
	tab := b.Tab(t, browsertest.Phone)
	tab.Open(w.url("/"))
	tab.Until(value("1", "5.020 V"))
	begun := time.Now()
	w.stop()
	if took := time.Since(begun); took > 10*time.Second { // far more than it needs
		t.Errorf("with a page open the watch ended after %v", took)
	}
	t.Logf("a lost daemon is shown after %v", tab.Until(`document.querySelector(".gone").checkVisibility()`))
	if text := tab.Text(".gone"); !strings.Contains(text, "no longer up to date") {
		t.Errorf("%q", text)
	}
	tab.Picture("gone")
	tab.Press("#step-form button")
	tab.Until(`document.querySelector("#step-form .fault").textContent == "The watch does not answer."`)
	w.volts.Store(4950)
	w.start()
	t.Logf("a daemon that is back is found after %v", tab.Until(`document.querySelector(".gone").hidden && `+value("1", "4.950 V")))
}

// A repair is noted on the page of its joint; the page shows what was before and after it, and the
// verdict on the run changes, without a reload by hand.
func TestNoteAndRepair(t *testing.T) {
	b := browsertest.Start(t)
	w := begin(t, true, access.Options{})
	w.untilAnalysed()
	home := b.Tab(t, browsertest.Desk)
	home.Open(w.url("/"))
	home.Until(`document.querySelector(".verdict").textContent.includes("joint lower-middle has jumped")`)
	tab := b.Tab(t, browsertest.Phone)
	tab.Open(w.url("/"))
	tab.Press(`a[href="element?kind=joint&name=lower-middle"]`)
	tab.Until(`document.querySelector("h1")?.textContent == "Joint lower-middle"`)
	if text := tab.Text("main"); !strings.Contains(text, "JUMPED") || !strings.Contains(text, "None is noted.") {
		t.Errorf("before the note:\n%s", text)
	}
	set := func(id, text string) {
		browsertest.Value[string](tab, fmt.Sprintf(`document.querySelector(%q).value = %q`, id, text))
	}
	set("#text", "re-made joint 7")
	tab.Press("#note-form button")
	tab.Until(`document.querySelector("#note-fault")?.textContent.includes("no joint 7")`)
	tab.Picture("note-refused")
	set("#text", "re-made joint 1, solder had cracked")
	set("#at", remadeAt().Format(localTime))
	tab.Press("#note-form button")
	tab.Until(`document.querySelector("h1")?.textContent == "Joint lower-middle"`)
	t.Logf("before and after are shown after %v", tab.Until(`document.querySelector('[data-part="repairs"] td[data-is="after"]')?.textContent.match(/^[34]\.\d$/)`))
	if before := tab.Text(`[data-part="repairs"] td[data-is="mΩ before"]`); !strings.HasPrefix(before, "33.") {
		t.Errorf("before the repair: %s", before)
	}
	tab.Until(`document.querySelector(".verdict.pass b")?.textContent == "STEADY" || document.querySelectorAll(".verdict b")[1]?.textContent == "STEADY"`)
	tab.Picture("noted")
	t.Logf("the page of the run follows after %v", home.Until(`!document.querySelector(".verdict").textContent.includes("joint lower-middle")`))
}

// All can be done with the keyboard: everything that can be pressed is reached with the tab key in
// the order of the page, each with a visible focus, and works.
func TestKeyboardOnly(t *testing.T) {
	b := browsertest.Start(t)
	w := begin(t, true, access.Options{})
	w.untilAnalysed()
	tab := b.Tab(t, browsertest.Desk)
	tab.Open(w.url("/"))
	tab.Type(kb.Tab)
	if text := tab.Text(":focus"); text != "Skip to the content" {
		t.Errorf("the first is %q", text)
	}
	tab.Type(kb.Enter)
	var reached []string
	for range 60 {
		tab.Type(kb.Tab)
		type focus struct {
			Name    string
			Outline string
			Last    bool
		}
		f := browsertest.Value[focus](tab, `(() => { const e = document.activeElement, all = [...document.querySelectorAll("main a, main button, main input, main select")];
			return {name: e.id || e.textContent.trim(), outline: getComputedStyle(e).outlineStyle, last: e == all.at(-1)}; })()`)
		reached = append(reached, f.Name)
		if f.Outline == "none" {
			t.Errorf("the focus on %q cannot be seen", f.Name)
		}
		if f.Last {
			break
		}
	}
	order := strings.Join(reached, "; ")
	at := 0
	for _, want := range []string{"Voltage from lower.start+", "joint lower-middle", "step", "Announce", "text", "Note it", "Everything that happened", "this page as JSON", "metrics"} {
		next := strings.Index(order[at:], want)
		if next < 0 {
			t.Fatalf("%q is not reached in its place: %s", want, order)
		}
		at += next
	}
	browsertest.Value[string](tab, `document.querySelector("#step").focus(); ""`)
	tab.Type("ch" + kb.Tab + kb.Tab + kb.Enter) // choose check, go over the seconds to the button, press it
	tab.Until(`document.querySelector("#step-now").textContent == "check"`)
	browsertest.Value[string](tab, `document.querySelector('a[href^="element?kind=joint"]').focus(); ""`)
	tab.Type(kb.Enter)
	tab.Until(`document.querySelector("h1")?.textContent.startsWith("Joint")`)
	browsertest.Value[string](tab, `[...document.querySelectorAll("a.choice")].find(a => a.textContent == "last 3 months").focus(); ""`)
	tab.Type(kb.Enter)
	tab.Until(`document.querySelector("a.choice[aria-current]")?.textContent == "last 3 months"`)
}
