package walking

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/guide"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/run/scaffold"
	"ohmkeep/internal/site/browsertest"
	"ohmkeep/internal/store"
)

// asked waits until the page shows the walk as the server has it once the estimates include every reading and no
// order is under way, and returns that state.
func asked(tab *browsertest.Tab, s *served) (state State) {
	s.t.Helper()
	for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		state = s.state()
		shown := browsertest.Value[string](tab, `document.body.hasAttribute("aria-busy") ? "busy" : document.body.dataset.shown ?? "nothing"`)
		if shown == fmt.Sprint(state.Number, " ", state.Learned) {
			return state
		}
		if time.Since(begun) > time.Minute {
			s.t.Fatalf("the page shows %s, and the walk is at %d %d:\n%s", shown, state.Number, state.Learned, tab.Text("#going"))
		}
	}
}

// after waits as asked does, and until the walk has gone on from a state. The walk alone does not tell that an order
// is answered: the first order adds two events, the beginning and its own.
func (s *served) after(state State, tab *browsertest.Tab) (now State) {
	s.t.Helper()
	for begun := time.Now(); now.Number <= state.Number; now = asked(tab, s) {
		if time.Since(begun) > time.Minute {
			s.t.Fatalf("the walk does not go on: %s", tab.Text("#going"))
		}
	}
	return now
}

// inReach fails the test if a button is below what the bars of a browser leave of a phone's window, so that one hand
// would have to scroll: about 616 px of 740 (from memory).
func inReach(tab *browsertest.Tab, id string) {
	tab.Until(`(scrollTo(0, 0), document.getElementById("` + id + `").getBoundingClientRect().bottom <= innerHeight - 124)`)
}

func quote(s string) string { return `"` + strings.ReplaceAll(s, `"`, `\"`) + `"` }

// typeKeys presses the keys of the page for a value.
func typeKeys(tab *browsertest.Tab, text string) {
	for _, c := range text {
		key := string(c)
		if c == '-' {
			key = "±"
		}
		browsertest.Value[bool](tab, `(() => { [...document.querySelectorAll("#keys button")].find(b => b.textContent == `+quote(key)+`).click(); return true; })()`)
	}
}

// From the first visit to the last reading with a plain meter and the page's keypad, broken off in the
// middle: the server is killed, the browser closed, and a tablet goes on where the phone was.
func TestWalkInBrowser(t *testing.T) {
	browser := browsertest.Start(t)
	r := cornice(t)
	kept := open(t, filepath.Join(t.TempDir(), "walk.store"))
	s := serve(t, guide.Config{Run: r, Store: kept}, nil)
	b := newBench(r)
	tab := browser.Tab(t, browsertest.Phone)
	tab.Open(s.URL + "/walk")
	tab.Until(`!document.querySelector("#begin").disabled`)
	tab.Picture("walk-start")
	tab.TooWide("start")
	tab.SmallTargets("start")
	w := tab.Weigh()
	t.Logf("the page weighs %d bytes in %d requests, first content after %v", w.Bytes, w.Requests, w.FirstContent)
	if w.Bytes > 200_000 {
		t.Errorf("the page weighs %d bytes", w.Bytes)
	}
	tab.Press("#begin")
	reversed := false
	one := func(n int) (done bool) {
		state := asked(tab, s)
		switch {
		case state.Task == "done":
			return true
		case state.Task == "step":
			if n == 0 {
				tab.Picture("walk-step")
				tab.TooWide("step")
				tab.SmallTargets("step")
			}
			tab.Press("#shown")
			s.after(state, tab)
		default:
			x := b.read(state.Place)
			wrong := !reversed && len(state.Leads) == 2 && strings.TrimSuffix(state.Leads[0], "+") == strings.TrimSuffix(state.Leads[1], "-")
			if wrong {
				reversed = true
				typeKeys(tab, "-"+x.Text)
			} else {
				typeKeys(tab, x.Text)
			}
			browsertest.Value[bool](tab, `(document.querySelector("#unit").value = `+quote(x.Unit)+`, true)`)
			if n == 4 {
				tab.Until(`document.querySelector("#picture svg")`)
				tab.Picture("walk-read")
				inReach(tab, "take")
				tab.TooWide("read")
				tab.SmallTargets("read")
			}
			tab.Press("#take")
			s.after(state, tab)
			if wrong {
				tab.Until(`document.querySelector("#again").checkVisibility()`)
				tab.Picture("walk-again")
				inReach(tab, "take")
				if text := tab.Text("#again"); !strings.Contains(text, "leads may have been reversed") {
					t.Errorf("asked again: %s", text)
				}
			}
		}
		return false
	}
	n := 0
	for ; n < 8; n++ {
		one(n)
	}
	before := s.state()
	tab.Open("about:blank")
	s.end() // as if it were killed: the session has nothing to store at its end
	s = serve(t, guide.Config{Run: r, Store: kept}, nil)
	tab = browser.Tab(t, browsertest.Tablet)
	tab.Open(s.URL + "/walk")
	tab.Until(`document.querySelector("#begin").textContent == "Go on"`)
	tab.Press("#begin")
	if after := asked(tab, s); after.Number != before.Number || after.Place != before.Place || after.Taken != before.Taken {
		t.Errorf("it goes on with %+v, and was at %+v", after, before)
	}
	tab.Until(`document.querySelector("#picture svg")`)
	tab.Picture("walk-resumed")
	for ; n < 200 && !one(n); n++ {
	}
	tab.Picture("walk-done")
	if text := tab.Text("#headline"); text != "Done: everything is settled." {
		t.Error(text)
	}
	stored := 0
	for range kept.Readings(t.Context(), r.Name, store.Filter{}) {
		stored++
	}
	if state := s.state(); stored != state.Taken || stored < 5 {
		t.Errorf("%d taken, %d stored", state.Taken, stored)
	}
}

// Practice with its simulated meter: the number fills by itself, says why it is not settled, and each value is
// taken by itself once it is. The keyboard alone is enough.
func TestPracticeByKeyboard(t *testing.T) {
	browser := browsertest.Start(t)
	s := serve(t, guide.Config{Run: cornice(t), Seed: 5}, nil)
	tab := browser.Tab(t, browsertest.Phone.InDark())
	tab.Open(s.URL + "/walk")
	tab.Until(`!document.querySelector("#begin").disabled`)
	focus := func(id string) {
		t.Helper()
		for range 60 {
			if browsertest.Value[string](tab, `document.activeElement.id`) == id {
				return
			}
			tab.Type("\t")
		}
		t.Fatalf("the keyboard does not reach %s", id)
	}
	focus("begin")
	tab.Type("\r")
	reasons, pressed := map[string]bool{}, false // pressed: the last reading was taken by its button
	for n := range 200 {
		state := asked(tab, s)
		if state.Task == "done" {
			break
		}
		if state.Task == "step" {
			focus("shown")
			tab.Type("\r")
			s.after(state, tab)
			pressed = false
			continue
		}
		if n < 4 {
			if id := browsertest.Value[string](tab, `document.activeElement.id`); pressed && id != "take" {
				t.Errorf("at the next place the focus is on %q", id)
			}
			focus("take")
			for begun := time.Now(); browsertest.Value[string](tab, `document.querySelector("#why").textContent`) != "settled"; {
				reasons[browsertest.Value[string](tab, `document.querySelector("#why").textContent`)] = true
				if time.Since(begun) > time.Minute {
					t.Fatal("the meter never settles")
				}
			}
			if n == 2 {
				tab.Until(`document.querySelector("#picture svg")`)
				tab.Picture("practice-live")
			}
			tab.Type("\r")
			pressed = true
		} else {
			if !browsertest.Value[bool](tab, `document.querySelector("#auto").checked`) {
				focus("auto")
				tab.Type(" ")
			}
			if state.Again != "" { // what contradicts is not taken by itself
				tab.Until(`document.querySelector("#why").textContent == "settled"`)
				focus("take")
				tab.Type("\r")
			}
		}
		s.after(state, tab)
	}
	if !strings.Contains(tab.Text("#truth"), "The simulated fault: "+s.session.SimulatedFault()) {
		t.Errorf("at the end: %s", tab.Text("#done"))
	}
	tab.Picture("practice-done")
	if len(reasons) < 2 {
		t.Errorf("why it was not settled: %v", reasons)
	}
}

// mute is a meter on a port that sends nothing.
type mute struct{ survey.Device }

func (mute) Measure(ctx context.Context, _ string, _ run.Quantity) (reading.Sample, error) {
	<-ctx.Done()
	return reading.Sample{}, ctx.Err()
}

// While nothing comes from the meter on a port the page says so, and another meter's value can be typed; a current is
// not asked where no meter measures one, and the page says that too.
func TestSilentMeterInBrowser(t *testing.T) {
	browser := browsertest.Start(t)
	r := cornice(t)
	r.Probes = nil
	r.Meters = []run.Meter{{Name: "hand", Ranges: slices.DeleteFunc(slices.Clone(r.Meters[0].Ranges), func(x run.Range) bool { return x.Quantity == run.Current })}}
	kept := open(t, filepath.Join(t.TempDir(), "walk.store"))
	silent := survey.Probe{Probe: run.Probe{Name: "bench", Channels: []run.ProbeChannel{{ID: "1", Quantity: run.Voltage}}}, Device: mute{}}
	s := serve(t, guide.Config{Run: r, Store: kept, Probes: []survey.Probe{silent}}, nil)
	tab := browser.Tab(t, browsertest.Phone)
	tab.Open(s.URL + "/walk")
	tab.Until(`document.querySelector("#ahead").textContent.includes("No current is asked for")`)
	tab.Picture("silent-start")
	tab.Press("#begin")
	state := asked(tab, s)
	tab.Press("#shown")
	state = s.after(state, tab)
	tab.Until(`document.querySelector("#why").textContent.includes("nothing comes from probe bench")`)
	tab.Picture("silent")
	tab.SmallTargets("silent")
	if browsertest.Value[bool](tab, `document.querySelector("#keys").checkVisibility()`) {
		t.Error("the keypad is there at once")
	}
	tab.Press("#own")
	x := newBench(r).read(state.Place)
	typeKeys(tab, x.Text)
	inReach(tab, "take")
	tab.Picture("silent-typed")
	tab.Press("#take")
	s.after(state, tab)
	for got, err := range kept.Readings(t.Context(), r.Name, store.Filter{}) {
		if err != nil || got.Text != x.Text || got.Meter != "hand" {
			t.Errorf("%+v, %v, want %s", got, err, x.Text)
		}
	}
}

// Every view of the walk breaks no rule of axe-core.
func TestWalkIsAccessible(t *testing.T) {
	browser := browsertest.Start(t)
	for _, screen := range []browsertest.Screen{browsertest.Phone, browsertest.Phone.InDark(), browsertest.Desk} {
		s := serve(t, guide.Config{Run: cornice(t), Store: open(t, filepath.Join(t.TempDir(), "walk.store"))}, nil)
		tab := browser.Tab(t, screen)
		tab.Open(s.URL + "/walk")
		tab.Until(`!document.querySelector("#begin").disabled`)
		tab.Axe("start")
		tab.Press("#begin")
		state := asked(tab, s)
		tab.Axe("step")
		tab.Press("#shown")
		state = s.after(state, tab)
		tab.Until(`document.querySelector("#picture svg")`)
		tab.Axe("read")
		tab.Picture("walk-first")
		typeKeys(tab, "-4.8") // its leads reversed
		tab.Press("#take")
		s.after(state, tab)
		tab.Until(`document.querySelector("#again").checkVisibility()`)
		tab.Axe("again")
		tab.Press("#pause")
		tab.Until(`document.querySelector("#paused").checkVisibility()`)
		tab.Axe("paused")
		tab.Picture("walk-paused")
		tab.TooWide("paused")
		tab.SmallTargets("paused")
		tab.Press("#resume")
		tab.Until(`document.querySelector("#read").checkVisibility()`)
		if status, _, fault := s.post(Order{Seen: asked(tab, s).Number, Do: "end"}); status != 200 {
			t.Fatal(fault)
		}
		tab.Until(`document.querySelector("#done").checkVisibility()`)
		if text := tab.Text("#headline"); !strings.Contains(text, "were left out") {
			t.Errorf("ended with %q", text)
		}
		tab.Axe("done")
		tab.Picture("walk-ended")
		tab.TooWide("done")
		draw := httptest.NewServer((&Drawing{Usual: func(scaffold.Options) string { return "run.toml" }, MayWrite: func(*http.Request) bool { return true }}).Handler())
		tab.Open(draw.URL + "/new")
		tab.Until(`document.querySelector("#picture svg")`)
		tab.Axe("describe the run")
		tab.Open("about:blank")
		draw.Close()
	}
}

// A run is described question by question, drawn as it is answered, checked at once, written, and the walk
// begins. Every view is one hand wide, and breaks no rule of axe-core where that is installed.
func TestRunIsDescribedInBrowser(t *testing.T) {
	browser := browsertest.Start(t)
	var text, name string
	draw := &Drawing{Usual: func(scaffold.Options) string { return "usual.toml" }, MayWrite: func(*http.Request) bool { return true }, Write: func(b []byte, o scaffold.Options, file string) (string, error) {
		if file == "taken.toml" {
			return "", errors.New("taken.toml: is a run file that is there already")
		}
		text, name = string(b), file
		return file, nil
	}}
	mux := http.NewServeMux()
	mux.Handle("/", draw.Handler())
	mux.HandleFunc("GET /walk", func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "<h1>The walk</h1>") })
	server := httptest.NewServer(mux)
	defer server.Close()
	tab := browser.Tab(t, browsertest.Phone)
	tab.Open(server.URL + "/new")
	tab.Until(`document.querySelector("#picture svg")`)
	tab.Picture("new-name")
	put := func(key, value string) {
		t.Helper()
		tab.Until(`document.querySelector('[data-key="` + key + `"]').checkVisibility()`)
		tab.TooWide(key)
		tab.SmallTargets(key)
		inReach(tab, "next")
		if value != "" {
			browsertest.Value[bool](tab, `(() => { const box = document.querySelector('[name="`+key+`"]');
				if (box.type === "radio") document.querySelector('[name="`+key+`"][value="`+value+`"]').click(); else { box.value = "`+value+`"; box.dispatchEvent(new InputEvent("input", {bubbles: true})); } return true; })()`)
		}
		tab.Press("#next")
	}
	put("name", "Book shelf")
	put("volts", "twelve")
	tab.Until(`document.querySelector('[data-key="volts"] .fault').textContent.includes("is not a number above 0")`)
	tab.Picture("new-fault")
	put("volts", "12")
	put("pixels-per-metre", "")
	put("reels", "3,3")
	tab.Until(`document.querySelector("#picture").textContent.includes("joint R1-R2")`)
	put("driver", "resistor")
	put("leds", "")
	put("white", "no")
	put("channel-milliamps", "")
	put("supply-volts", "")
	put("supply-amps", "")
	tab.Until(`document.querySelectorAll('[data-key="fed"] svg').length == 3`)
	tab.Picture("new-fed")
	put("fed", "both")
	put("feed-metres", "2")
	put("far-metres", "6")
	put("conductor", "")
	put("fine", "")
	tab.Until(`document.querySelector('[data-key="file"]').checkVisibility()`)
	tab.Picture("new-file")
	if file := browsertest.Value[string](tab, `document.querySelector('[name="file"]').value`); file != "usual.toml" {
		t.Errorf("the file is called %s", file)
	}
	put("file", "taken.toml")
	tab.Until(`document.querySelector('[data-key="file"] .fault').textContent.includes("there already")`)
	put("file", "shelf.toml")
	tab.Until(`document.querySelector("h1")?.textContent == "The walk"`)
	r := runtest.Parse(t, text)
	if name != "shelf.toml" || r.Name != "Book shelf" || len(r.Reels) != 2 || len(r.Feeds) != 2 || r.Reels[0].Strip.Volts != 12 || r.Supplies[0].Volts != 12 || r.Reels[0].Strip.Driver != run.Resistor {
		t.Errorf("%s\n%s", name, text)
	}
}
