package cli

import (
	"bytes"
	"context"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const full = `
[[step]]
name = "full"
red = 1
green = 1
blue = 1
`

func TestColourInShell(t *testing.T) {
	s := newSession(t)
	s.walk(60, everything)
	s.write("bright.toml", strings.Replace(shelf, "[limits]", full+"[limits]", 1))
	s.do(`ohmkeep colour shelf.toml`).exits(Passes).prints("COLOUR AND BRIGHTNESS HOLD", `step "white 5 %"`, "if everything is as its file states")
	s.do(`ohmkeep colour bright.toml --step full`).exits(Fails).prints("DIMMER AND OFF COLOUR: left", "right 1 to 210", "The worst pixel is right.end at", "longer",
		"trim of supply A", "feed near", "joint left-right", "the reels' copper", "all together", "What causes the loss at right.end")
	s.do(`ohmkeep color bright.toml --step full`).exits(Fails).prints("DIMMER AND OFF COLOUR")
	s.do(`ohmkeep colour bright.toml --step full --at left.20`).prints("Pixel left.20 is at")
	// With readings there are intervals, and the joint of 60 mΩ takes its part.
	s.do(`ohmkeep colour shelf.toml readings.csv`).exits(Passes).prints("as its readings show it", " to ")
	bright := s.do(`ohmkeep colour bright.toml readings.csv --step full --json`).exits(Fails)
	holds(t, decoded(t, bright.out), `{"schema":1,"run":"x","step":"full","fitted":true,"change":"both","verdict":"fail",
 "limits":{"colour_shift":0.004,"dimming_percent":30},
 "places":[{"reel":"left","from":1,"to":2,"colour":true,"dimmer":false,"colour_shift":0.1,"dimming_percent":2}],
 "worst":{"place":"right.end","reel":"right","pixel":210,"volts":{"value":1,"low":1,"high":1},
  "colour_shift":{"value":1,"low":1,"high":1},"dimming_percent":{"value":1,"low":1,"high":1},
  "commanded":{"x":0.3,"y":0.3,"u":0.2,"v":0.4,"kelvin":6800,"duv":0.002},"seen":{"x":0.3,"y":0.3,"u":0.2,"v":0.4}},
 "method":"x","shares":[{"kind":"copper","names":[],"lost_volts":{"value":1,"low":1,"high":1},
  "colour_shift":{"value":1,"low":1,"high":1},"dimming_percent":{"value":1,"low":1,"high":1}}],
 "reels":[{"name":"left","pixels":[{"pixel":1,"volts":5,"brightness":1,"colour_shift":0,"u":0.2,"v":0.4}]}],"warnings":["x"]}`)
	s.do(`ohmkeep import shelf.toml readings.csv --store s.db`).exits(Passes)
	s.do(`ohmkeep colour shelf.toml --store s.db`).exits(Passes).prints("as its readings show it")
}

// What too few readings do not determine is unproven: one pair read in the dark.
func TestColourUnproven(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.write("few.csv", "time,step,quantity,from,to,value,unit,meter\n2026-05-04T10:12:00Z,dark,voltage,left.start+,left.start-,5.08,V,bench\n")
	s.do(`ohmkeep colour shelf.toml few.csv --step "white 20 %"`).exits(Unproven).prints("by the best estimate, but not enough readings to be\nsure")
}

func TestColourFaults(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.do(`ohmkeep colour shelf.toml --step dark`).refused(`shelf.toml: step "dark" lights no channel`)
	s.do(`ohmkeep colour shelf.toml --step drak`).refused(`no step is named "drak" (did you mean "dark"?)`)
	s.do(`ohmkeep colour shelf.toml --at left.900`).refused(`shelf.toml: --at: reel "left" has no pixel 900`)
	s.do(`ohmkeep colour shelf.toml --at A`).refused(`shelf.toml: --at: "A" is not a pixel (such as left.end)`)
	s.do(`ohmkeep colour shelf.toml --picture c.jpg`).refused(`ends in .png or .svg`)
	s.do(`ohmkeep colour shelf.toml none.csv`).refused(`none.csv: no such file`)
	s.do(`ohmkeep colour shelf.toml none.csv --store s.db`).refused(`not from both`)
	s.do(`ohmkeep colour`).refused(`wants RUN [READINGS.csv]`)
}

func TestColourDraws(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	s.do(`ohmkeep colour shelf.toml --picture c.png`).exits(Passes).says("picture: c.png")
	if _, err := png.Decode(bytes.NewReader([]byte(s.content("c.png")))); err != nil {
		t.Error(err)
	}
	s.do(`ohmkeep colour shelf.toml --picture c.svg`).exits(Passes)
	if !strings.Contains(s.content("c.svg"), "As commanded") {
		t.Error("the picture is not whole")
	}
}

// The shipped runs show something in each step that is lit.
func TestColourShipped(t *testing.T) {
	files, err := filepath.Glob("../../testdata/runs/*.toml")
	if err != nil || len(files) == 0 {
		t.Fatal("no run files: ", err)
	}
	for _, file := range files {
		r, err := loadRun(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, step := range r.Steps {
			var out, faults bytes.Buffer
			status := Run(t.Context(), []string{"colour", file, "--step", step.Name, "--json"}, strings.NewReader(""), &out, &faults)
			if lit := len(step.Levels) > 0; lit == (status == Wrong) || status == Unproven {
				t.Errorf("%s %q: status %d: %s", file, step.Name, status, faults.String())
			}
		}
	}
}

// BenchmarkColour is the whole command on the demonstration's run of 780 pixels with
// its readings, without the start of the process.
func BenchmarkColour(b *testing.B) {
	for b.Loop() {
		var faults bytes.Buffer
		if Run(context.Background(), []string{"colour", "../../testdata/commissioning/run.toml", "../../testdata/commissioning/readings.csv"},
			os.Stdin, io.Discard, &faults) == Wrong {
			b.Fatal(faults.String())
		}
	}
}
