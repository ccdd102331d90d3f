package cli

import (
	"bytes"
	"image/png"
	"math"
	"ohmkeep/internal/run"
	"path/filepath"
	"strings"
	"testing"
)

// Keys and types of the output that other programs read, and what holds of any run:
// a supply gives what its feeds take, a feed at 20 °C drops current times resistance.
func TestPredictJSON(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	o := s.do(`ohmkeep predict shelf.toml --step "white 20 %" --json`).exits(Passes)
	p := decoded(t, o.out)
	holds(t, p, `{"schema":1,"run":"Book shelf","step":"white 20 %",
 "supplies":[{"name":"A","volts":5.05,"amps":2.31}],
 "feeds":[{"name":"near","amps":2.31,"drop_volts":0.24,"milliohms":104.8}],
 "reels":[{"name":"west","pixels":[{"pixel":1,"volts":4.81,"plus":4.93,"minus":0.12,"milliamps":2.6}]}],
 "warnings":["…"]}`)
	if p["run"] != "Book shelf" || p["step"] != "white 20 %" {
		t.Error(p["run"], p["step"])
	}
	supply := p["supplies"].([]any)[0].(map[string]any)
	feed := p["feeds"].([]any)[0].(map[string]any)
	near := func(what string, got, want, within float64) {
		t.Helper()
		if math.Abs(got-want) > within {
			t.Errorf("%s: %g, want %g", what, got, want)
		}
	}
	amps := feed["amps"].(float64)
	near("the supply's amps", supply["amps"].(float64), amps, 1e-6)
	near("the feed's drop", feed["drop_volts"].(float64), amps*feed["milliohms"].(float64)/1000, 1e-5)
	// 16 AWG is 13.174 Ω/km (ASTM B258 and 1/58 Ω·mm²/m); 1.5 m there and back.
	near("the feed", feed["milliohms"].(float64), 2*1.5*13.174, 0.05)
	total, pixels := 0.0, 0
	for _, reel := range p["reels"].([]any) {
		for _, x := range reel.(map[string]any)["pixels"].([]any) {
			x := x.(map[string]any)
			near("plus against minus", x["plus"].(float64)-x["minus"].(float64), x["volts"].(float64), 2e-6)
			total += x["milliamps"].(float64)
			pixels++
		}
	}
	near("the pixels' current", total/1000, amps, 1e-4)
	if want := 60 * (3.5 + 3.5); pixels != int(want) {
		t.Errorf("%d pixels, want %g", pixels, want)
	}
}

func TestPredictSteps(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.do(`ohmkeep predict shelf.toml`).exits(Passes).prints("white 5 %", "near", "left")
	s.do(`ohmkeep predict shelf.toml --step "whit 5 %"`).refused(`shelf.toml: --step: no step is named "whit 5 %" (did you mean "white 5 %"?)`)
	s.do(`ohmkeep predict shelf.toml --step blue`).refused(`(known: dark, white 5 %, white 20 %)`)
	s.write("open.toml", strings.Replace(shelf, "design_step", "# design_step", 1))
	s.do(`ohmkeep predict open.toml`).refused(`open.toml: --step: which step? the run file names no design step (known: dark, white 5 %, white 20 %)`)
	s.do(`ohmkeep predict open.toml --step dark`).exits(Passes).prints("dark")
	from, _, _ := strings.Cut(s.content("open.toml"), "[[step]]\nname = \"white 5 %\"")
	s.write("one.toml", from)
	s.do(`ohmkeep predict one.toml`).exits(Passes).prints("dark")
}

func TestPredictDraws(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.do(`ohmkeep predict shelf.toml --picture volts.png`).exits(Passes).says("picture: volts.png")
	if _, err := png.Decode(bytes.NewReader([]byte(s.content("volts.png")))); err != nil {
		t.Error(err)
	}
	s.do(`ohmkeep predict shelf.toml --picture volts.svg`).exits(Passes)
	if !strings.Contains(s.content("volts.svg"), "</svg>") {
		t.Error("the picture is not whole")
	}
	s.do(`ohmkeep predict shelf.toml --picture volts`).refused("volts: a picture's file ends in .png or .svg")
	s.do(`ohmkeep predict shelf.toml --picture no/volts.png`).refused("no/volts.png: there is no folder no")
	s.holds("shelf.toml", "volts.png", "volts.svg")
}

// shippedRuns calls do, in a session, with each run file that comes with the program.
func shippedRuns(t *testing.T, do func(s session, file string, r *run.Run)) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(testdata(t), "runs", "*.toml"))
	if err != nil || len(files) == 0 {
		t.Fatal("no run files: ", err)
	}
	s := newSession(t)
	for _, file := range files {
		r, err := loadRun(file)
		if err != nil {
			t.Error(err)
			continue
		}
		do(s, file, r.Run)
	}
}

// The shipped runs can be predicted in each of their steps.
func TestPredictShipped(t *testing.T) {
	shippedRuns(t, func(s session, file string, r *run.Run) {
		for _, step := range r.Steps {
			o := s.do(`ohmkeep predict "` + file + `" --step "` + step.Name + `" --json`).exits(Passes)
			if p := decoded(t, o.out); p["run"] != r.Name || p["step"] != step.Name {
				t.Errorf("%s, %s: %v, %v", file, step.Name, p["run"], p["step"])
			}
		}
	})
}
