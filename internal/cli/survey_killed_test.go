package cli

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/site/browsertest"
)

// walker is a person with a plain meter who does what the page of a walk shows, and nothing else.
type walker struct {
	t     *testing.T
	addr  string
	run   *run.Run
	plant *plant.Plant
	meter *plant.Meter
	rng   *rand.Rand
	tab   *browsertest.Tab
}

// pageShown is what the page shows.
type pageShown struct {
	Task, Step, Quantity, From, To string
	Units                          []string
	Done                           bool
}

// look returns what the page shows once no order is under way and something is asked.
func (p *walker) look() pageShown {
	p.t.Helper()
	p.tab.Until(`!document.body.hasAttribute("aria-busy") && !document.getElementById("learning").checkVisibility()`)
	return browsertest.Value[pageShown](p.tab, `(() => {
		const seen = (id) => document.getElementById(id).checkVisibility(), leads = [...document.querySelectorAll("#leads li")].map((e) => e.lastChild.textContent);
		return { task: seen("set") ? "step" : seen("read") ? "read" : seen("done") ? "done" : "", step: document.getElementById("step").textContent,
			quantity: leads.length === 1 ? "current" : "voltage", from: leads[0] ?? "", to: leads[1] ?? "", units: [...document.querySelectorAll("#unit option")].map((o) => o.value) };
	})()`)
}

// answer types what the meter shows, as far as to the button that takes it. It returns false if the page has asked
// for another place meanwhile, because the estimates have come.
func (p *walker) answer(now pageShown) bool {
	p.t.Helper()
	q, from := run.Voltage, now.From
	if now.Quantity == "current" {
		q, from = run.Current, strings.TrimPrefix(now.From, "feed ")
	}
	x := reading.Reading{Quantity: q}
	p.meter.Read(&x, p.plant.True(q, from, now.To), p.rng)
	return browsertest.Value[bool](p.tab, fmt.Sprintf(`(() => {
		const leads = [...document.querySelectorAll("#leads li")].map((e) => e.lastChild.textContent);
		if (leads[0] !== %q || (leads[1] ?? "") !== %q) return false;
		document.getElementById("number").value = "";
		for (const key of %q) [...document.querySelectorAll("#keys button")].find((b) => b.textContent === key).click();
		document.getElementById("unit").value = %q;
		return true;
	})()`, now.From, now.To, strings.Replace(x.Text, "-", "±", 1), x.Unit))
}

// one does what the page asks; press is called in place of the last press.
func (p *walker) one(press func(button string)) (done bool) {
	p.t.Helper()
	now := p.look()
	switch now.Task {
	case "done":
		return true
	case "step":
		if err := p.plant.Set(p.run.StepIndex(now.Step)); err != nil {
			p.t.Fatal(err)
		}
		press("#shown")
	case "read":
		if p.answer(now) {
			press("#take")
		}
	default:
		p.t.Fatalf("the page shows %+v", now)
	}
	return false
}

// The program is killed, not ended, again and again while somebody walks in a browser, also in the middle of an
// order. The open page says that it is gone and goes on by itself; another device, of another size, goes on too. No
// reading that was answered is lost and none is there twice.
func TestWalkKilledInBrowser(t *testing.T) {
	browser := browsertest.Start(t)
	s := newSession(t)
	s.write("shelf.toml", shelf)
	r := runtest.Load(t, "shelf.toml")
	rng := rand.New(rand.NewPCG(15, 6)) // any would do; these make the test repeatable
	p := &walker{t: t, addr: s.freeAddress(), run: r, plant: plant.New(r, plant.Plain, rng), meter: plant.NewMeter(r.Meters[0], plant.Plain, rng), rng: rng}
	var program *exec.Cmd
	start := func() {
		program = process("survey", "shelf.toml", "--store", "shelf.db", "--listen", p.addr)
		if err := program.Start(); err != nil {
			t.Fatal(err)
		}
	}
	kill := func() {
		_ = program.Process.Kill()
		_ = program.Wait() // it was killed
	}
	t.Cleanup(func() { kill() })
	open := func(screen browsertest.Screen) {
		p.tab = browser.Tab(t, screen)
		p.tab.Open("http://" + p.addr + "/walk")
		p.tab.Until(`!document.querySelector("#begin").disabled`)
		p.tab.Press("#begin")
	}
	stored := func() int {
		_, text := fetch(t, "GET", "http://"+p.addr+"/walk/state", "", "")
		var state struct{ Taken int }
		if err := json.Unmarshal([]byte(text), &state); err != nil {
			t.Fatalf("%v: %s", err, text)
		}
		return state.Taken
	}
	start()
	defer kill()
	waitReady := func() {
		t.Helper()
		for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
			if _, text := fetch(t, "GET", "http://"+p.addr+"/walk/state", "", ""); strings.Contains(text, `"ready":true`) {
				return
			}
			if time.Since(begun) > time.Minute {
				t.Fatal("never ready")
			}
		}
	}
	waitReady()
	open(browsertest.Phone)
	devices := []browsertest.Screen{browsertest.Tablet, browsertest.Desk.InDark(), browsertest.Phone.InDark()}
	kills, done := 0, false
	for n := 0; !done && n < 200; n++ {
		if n%3 != 2 {
			done = p.one(func(button string) { p.tab.Press(button) })
			continue
		}
		p.look()
		before := stored()
		pressed, killed := false, false
		done = p.one(func(button string) {
			if kills%2 == 0 { // in the middle of the order
				p.tab.Press(button)
				time.Sleep(time.Duration(rng.IntN(4)) * time.Millisecond)
				pressed = true
			}
			kill()
			killed = true
		})
		if !killed {
			continue
		}
		kills++
		p.tab.Until(`document.querySelector(".gone").checkVisibility()`)
		p.tab.Picture("killed")
		start()
		waitReady()
		if after := stored(); after != before && !(pressed && after == before+1) {
			t.Errorf("%d readings were taken before it was killed, %d after it", before, after)
		}
		if kills%2 == 0 {
			open(devices[kills/2%len(devices)])
		} else {
			p.tab.Until(`document.querySelector(".gone").hidden && !document.body.hasAttribute("aria-busy")`)
		}
		p.tab.Picture("killed-and-on")
	}
	if text := p.tab.Text("#headline"); !done || text != "Done: everything is settled." {
		t.Errorf("%v, %s", done, text)
	}
	p.tab.Picture("killed-done")
	taken := stored()
	kill()
	if lines := strings.Count(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out, "\n") - 1; lines != taken || taken < 4 {
		t.Errorf("%d readings taken, %d in the store", taken, lines)
	}
	t.Logf("killed %d times, %d readings taken, none lost and none twice", kills, taken)
}
