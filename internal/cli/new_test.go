package cli

import (
	"strings"
	"testing"
)

func TestNewWritesValidRuns(t *testing.T) {
	s := newSession(t)
	for _, flags := range []string{
		``,
		` --reels 4,5,4 --fed both --feed-metres 2.4 --far-metres 7.5`,
		` --volts 12 --supply-amps 8 --white --driver regulated`,
		` --reels "2.5, 1" --fed middle --conductor "0.75 mm2" --material cca --fine --name "Wine rack"`,
		` --driver resistor --volts 24 --pixels-per-metre 20 --loop-milliohms 0`,
	} {
		s.do(`ohmkeep new` + flags + ` > new.toml`).exits(Passes)
		s.do(`ohmkeep predict new.toml`).exits(Passes)
	}
	if strings.Count(s.do(`ohmkeep new --volts 12`).exits(Passes).out, "\nvolts = 12") != 2 {
		t.Error("the supply does not follow the strip's volts")
	}
}

func TestNewKeepsWhatIsThere(t *testing.T) {
	s := newSession(t)
	s.do(`ohmkeep new --out shelf.toml`).exits(Passes).says("run file: shelf.toml", "next: ohmkeep predict shelf.toml")
	first := s.content("shelf.toml")
	s.do(`ohmkeep new --volts 12 --out shelf.toml`).refused("shelf.toml: is a run file that is there already")
	if s.content("shelf.toml") != first {
		t.Error("the run file is another one")
	}
	s.do(`ohmkeep new --out .`).refused(".: is a directory")
	s.do(`ohmkeep new --out no/shelf.toml`).refused("no/shelf.toml: there is no folder no")
	s.holds("shelf.toml")
}

func TestNewAsks(t *testing.T) {
	s := newSession(t)
	s.answer(strings.Repeat("\n", 20), `ohmkeep new --ask --out usual.toml`).exits(Passes).says("Name of the run", "licensed people")
	s.do(`ohmkeep new --out flags.toml`).exits(Passes)
	if s.content("usual.toml") != s.content("flags.toml") {
		t.Error("empty answers give another run than no flags")
	}
	// name, volts, pixels a metre, reels, driver, LEDs in a row, white channel, milliamps, supply volts and amps, fed, near and far metres
	s.answer("Wine rack\n12\n60\nlong\n2,3\nlinear\n3\nno\n12\n12.2\n8\nboth\n1.5\n4\n\n\n", `ohmkeep new --ask --out rack.toml`).exits(Passes).
		says(`"long" is not a length (write metres, such as 4,5,4)`)
	p := decoded(t, s.do(`ohmkeep predict rack.toml --json`).exits(Passes).out)
	if len(p["feeds"].([]any)) != 2 || len(p["reels"].([]any)) != 2 || p["run"] != "Wine rack" {
		t.Error(p["run"], p["feeds"])
	}
	s.answer("Wine rack\n12\n", `ohmkeep new --ask --out early.toml`).exits(Wrong).says("the answers end too early; nothing is written")
	s.holds("flags.toml", "rack.toml", "usual.toml")
	// Without --out the last question is for the file; one that is there is not taken.
	s.answer("Wine rack"+strings.Repeat("\n", 14)+"rack.toml\n\n", `ohmkeep new --ask`).exits(Passes).
		says("rack.toml: is a run file that is there already", "[wine-rack.toml]", "run file: wine-rack.toml\nnext: ohmkeep predict wine-rack.toml")
	s.do(`ohmkeep predict wine-rack.toml`).exits(Passes)
	if out := s.answer(strings.Repeat("\n", 14)+"-\n", `ohmkeep new --ask`).exits(Passes).out; out != s.content("usual.toml") {
		t.Error("- prints another run file")
	}
}

func TestNewFaults(t *testing.T) {
	s := newSession(t)
	for line, want := range map[string]string{
		`ohmkeep new --reels 4,x --out a.toml`:      `--reels: "x" is not a length (write metres, such as 4,5,4)`,
		`ohmkeep new --reels "" --out a.toml`:       `--reels: "" is not a length`,
		`ohmkeep new --reels 0 --out a.toml`:        `metres`,
		`ohmkeep new --fed midle --out a.toml`:      `--fed: "midle" is not a way to feed a run (did you mean "middle"?)`,
		`ohmkeep new --volts many --out a.toml`:     `ohmkeep new: invalid argument "many" for "--volts" flag (see`,
		`ohmkeep new --conductor hair --out a.toml`: `"hair" is not a wire size`,
		`ohmkeep new --material gold --out a.toml`:  `gold`,
		`ohmkeep new --driver donkey --out a.toml`:  `donkey`,
		`ohmkeep new shelf.toml`:                    `ohmkeep new: takes no argument such as "shelf.toml"`,
	} {
		s.do(line).refused(want)
	}
	s.do(`ohmkeep new --volts -3 --out a.toml`).exits(Wrong).says("strip.volts: -3 is out of range")
	s.holds()
}
