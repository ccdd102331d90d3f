package cli

import (
	"bytes"
	"image/png"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/simulate/calibrationtest"
)

func TestRepairAndLimitExitStatus(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	for _, command := range []string{"repair", "limit"} {
		s.do(`ohmkeep `+command+` shelf.toml`).exits(Passes).prints("PASS", "as its file states", "local codes decide")
		s.do(`ohmkeep `+command+` shelf.toml --joint-watts 0.0005`).exits(Fails).prints("FAIL", "heat in joint left-right")
		s.walk(3, everything)
		s.do(`ohmkeep `+command+` shelf.toml readings.csv`).exits(Passes).prints("PASS", "by its readings", "95 %")
		s.do(`ohmkeep ` + command + ` shelf.toml - --joint-watts 0.0001 < readings.csv`).exits(Fails)
		// Its own volts at both ends of the left reel, and nothing of the right one.
		s.walk(3, func(v survey.Visit) bool {
			return !strings.HasPrefix(v.From, "right.") && !strings.HasPrefix(v.To, "right.")
		})
		s.do(`ohmkeep ` + command + ` shelf.toml readings.csv`).exits(Unproven).prints("UNPROVEN")
		s.do(`ohmkeep ` + command + ` shelf.toml --step dusk`).refused(`no step is named "dusk"`)
		s.do(`ohmkeep ` + command + ` shelf.toml --far-metres -1`).refused("--far-metres is above 0")
		s.do(`ohmkeep ` + command + ` shelf.toml --joint-watts NaN`).refused("--joint-watts is above 0")
		s.do(`ohmkeep ` + command + ` shelf.toml --wire "18 AVG"`).refused("--wire: conductor: \"18 AVG\" is not a wire size")
		s.do(`ohmkeep ` + command + ` shelf.toml readings.csv --store shelf.db`).refused("not from both")
		s.do(`ohmkeep ` + command + ` nowhere.toml`).refused("nowhere.toml: no such file or directory")
	}
	s.do(`ohmkeep repair shelf.toml --step dark`).refused(`shelf.toml: step "dark": lights no channel`)
	s.do(`ohmkeep limit shelf.toml --step dark`).refused(`shelf.toml: step "dark": lights no channel`)
	s.write("night.toml", strings.NewReplacer("= 0.05", "= 0", "= 0.2\n", "= 0\n").Replace(shelf))
	s.do(`ohmkeep limit night.toml`).refused("night.toml: no step lights any channel")
}

// Keys, and what holds of any run: the limiter counts stated figures, what is above
// the level that is safe fails, and every interval holds its value.
func TestRepairJSON(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	s.walk(120, everything)
	o := s.do(`ohmkeep repair shelf.toml readings.csv --step "white 20 %" --json`).exits(Fails)
	p := decoded(t, o.out)
	const number = `{"value":0.1,"low":0.1,"high":0.1}`
	const effect = `{"level":0.1,"verdict":"fail","amps":0.1,"colour_shift":` + number + `,"dimming":` + number + `,"least_volts":` + number +
		`,"joint_watts":` + number + `,"limit_used":` + number + `,"highest_level":` + number + `,"limiter_amps":` + number + `,"highest_amps":0.1,
		"uses":[{"criterion":"colour","subject":"left","value":0.1,"limit":0.1}]}`
	holds(t, p, `{"schema":1,"run":"Book shelf","step":"white 20 %","from_readings":true,"design_amps":1.1,"as_wired":`+effect+`,
 "repairs":[{"cost":1.0,"repairs":[{"kind":"k","text":"t","labour":1,"material":0.1,"cautions":["…"]}],
   "wins":{"colour_shift":0.1,"least_volts":0.1,"joint_watts":0.1,"limiter_amps":0.1},"effect":`+effect+`}],
 "pair":{"cost":1.0,"effect":`+effect+`},"assumed":["…"]}`)
	// 420 pixels of 0.8 mA and 3 × 12 mA at a fifth.
	if amps := p["design_amps"].(float64); math.Abs(amps-420*(0.0008+0.2*0.036)) > 1e-6 {
		t.Errorf("the design step needs %g A", amps)
	}
	kinds := map[string]bool{}
	for _, x := range p["repairs"].([]any) {
		x := x.(map[string]any)
		kinds[x["repairs"].([]any)[0].(map[string]any)["kind"].(string)] = true
		e := x["effect"].(map[string]any)
		for _, key := range []string{"colour_shift", "dimming", "least_volts", "joint_watts", "limit_used", "highest_level", "limiter_amps"} {
			n := e[key].(map[string]any)
			if low, value, high := n["low"].(float64), n["value"].(float64), n["high"].(float64); !(low <= value && value <= high) {
				t.Errorf("%s: %v", key, n)
			}
		}
		if high := e["limit_used"].(map[string]any)["high"].(float64); high > 1 && e["verdict"] == "pass" {
			t.Errorf("uses up to %g of a limit and passes", high)
		}
	}
	for _, kind := range []string{"lower the limiter", "trim a supply", "remake a joint", "renew a feed", "feed a far end", "feed the middle", "a supply at the far end"} {
		if !kinds[kind] {
			t.Errorf("no repair of the kind %q", kind)
		}
	}
}

func TestLimitJSON(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", strings.Replace(shelf, "[limits]", "[[step]]\nname = \"red\"\nred = 0.3\n[limits]", 1))
	p := decoded(t, s.do(`ohmkeep limit shelf.toml --json`).exits(Passes).out)
	holds(t, p, `{"schema":1,"run":"Book shelf","from_readings":false,"verdict":"pass","limiter_amps":{"value":1.1},"decides":"white",
 "colours":[{"steps":"white","as_wired":{"level":0.1,"verdict":"pass","highest_level":{"value":0.1}}}],
 "after":[{"repair":{"kind":"k","text":"t"},"limiter_amps":{"value":1.1},"colours":[{"highest_level":{"value":0.1}}]}],"assumed":["…"]}`)
	colours := p["colours"].([]any)
	if len(colours) != 2 || colours[0].(map[string]any)["steps"] != "white 5 %, white 20 %" {
		t.Fatalf("%v", colours)
	}
	// 16 AWG is 13.174 Ω/km (ASTM B258 and 1/58 Ω·mm²/m); 3 m of it drop 6 % of 5.1 V
	// at 7.742 A, where the light may do as it likes.
	s.write("lax.toml", strings.Replace(shelf, "[limits]", "[limits]\ncolour_shift = 0.5\ndimming_percent = 99", 1))
	lax := decoded(t, s.do(`ohmkeep limit lax.toml --json`).exits(Passes).out)
	wired := lax["colours"].([]any)[0].(map[string]any)["as_wired"].(map[string]any)
	binding, amps := wired["binds"].(map[string]any), wired["highest_amps"].(float64)
	if binding["criterion"] != "feed drop" || math.Abs(amps-0.306/(3*0.013174)) > 0.02 {
		t.Errorf("%v binds at %g A", binding, amps)
	}
	if amps := colours[0].(map[string]any)["as_wired"].(map[string]any)["highest_amps"].(float64); amps > 7.75 {
		t.Errorf("%g A, above the feed's drop", amps)
	}
	// More is allowed of the heat of joints, less is carried by the limiter.
	hot := decoded(t, s.do(`ohmkeep limit shelf.toml --joint-watts 0.001 --json`).out)
	if a, b := hot["limiter_amps"].(map[string]any)["value"].(float64), p["limiter_amps"].(map[string]any)["value"].(float64); !(a < b) {
		t.Errorf("%g A with cool joints, %g A without", a, b)
	}
}

func TestRepairPicture(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	s.do(`ohmkeep repair shelf.toml --picture wins.png`).exits(Passes).says("picture: wins.png")
	if _, err := png.Decode(bytes.NewReader([]byte(s.content("wins.png")))); err != nil {
		t.Error(err)
	}
	s.do(`ohmkeep repair shelf.toml --picture wins.jpg`).refused("ends in .png or .svg")
}

// Tables fit a terminal of old.
func TestRepairTablesFit(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	s.walk(60, everything)
	for _, line := range []string{`repair shelf.toml readings.csv`, `repair shelf.toml --step "white 20 %"`, `limit shelf.toml readings.csv`} {
		for row := range strings.Lines(s.do(`ohmkeep ` + line).out) {
			if n := utf8.RuneCountInString(strings.TrimRight(row, "\n")); n > 80 {
				t.Errorf("%s: %d columns: %s", line, n, row)
			}
		}
	}
}

// Where the readings contradict the run file, no repair is proven.
func TestRepairInDoubt(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	r, err := loadRun(s.path("shelf.toml"))
	if err != nil {
		t.Fatal(err)
	}
	csv := s.simulated(r.Run, func(p *calibrationtest.Plant) { p.Scales[1] = 9 }, everything)
	s.write("readings.csv", csv)
	s.do(`ohmkeep repair shelf.toml readings.csv`).exits(Unproven).prints("UNPROVEN: the readings contradict the run file")
	s.do(`ohmkeep limit shelf.toml readings.csv`).exits(Unproven).prints("rely on none of these numbers")
}
