package cli

import (
	"strings"
	"testing"

	"ohmkeep/internal/simulate/demo"
)

// A demonstration replaces what an earlier one left, and nothing that was changed since.
func TestDemo(t *testing.T) {
	s := newParallelSession(t)
	s.write("run.toml", string(demo.RunFile)) // as an earlier one leaves it
	s.write("readings.db", "old")
	into := "ohmkeep demo --into " + s.dir
	o := s.do(into).exits(Passes)
	o.prints("FAIL      joint west-north", "FAIL      feed far", "ohmkeep assess run.toml readings.csv").
		says("Reading room cornice (invented)", "Fitting 39 readings")
	if inside, outside := strings.Count(o.out, ": inside\n"), strings.Count(o.out, ": outside\n"); inside != 7 || outside != 0 {
		t.Errorf("%d intervals of 7 hold the truth:\n%s", inside, o.out)
	}
	if !strings.Contains(o.faults, "/dev/") && !strings.Contains(o.faults, "inside the process") {
		t.Error("it does not say what the instruments speak on")
	}
	s.holds("readings.csv", "readings.db", "report.html", "run.toml")
	s.do(`ohmkeep assess run.toml readings.csv`).exits(Fails).prints("joint west-north", "feed far")
	s.do(`ohmkeep assess run.toml --store readings.db`).exits(Fails)
	s.do(`ohmkeep predict run.toml --step "white 12 %"`).exits(Passes)
	s.write("run.toml", s.content("run.toml")+"# mine\n")
	s.do(into).refused("run.toml: is in the way")
}

// A demonstration never overwrites files that it did not write.
func TestDemoSparesFiles(t *testing.T) {
	s := newSession(t)
	s.write("readings.db", "mine")
	s.do(`ohmkeep demo --into .`).refused("readings.db: is in the way")
	s.holds("readings.db")
	if s.content("readings.db") != "mine" {
		t.Error("the readings are gone")
	}
	s.do(`ohmkeep demo --into readings.db`).refused("readings.db: not a directory")
}

// Where the usual folder cannot be used, a demonstration writes elsewhere and says so. TestReadmeInOrder writes into
// the usual one.
func TestDemoElsewhere(t *testing.T) {
	s := newSession(t)
	s.Setenv("TMPDIR", s.TempDir())
	s.write("ohmkeep-demo", "a file")
	s.do(`ohmkeep demo`).exits(Passes).says("ohmkeep-demo: ", "; writing into ") // between them the system's own words
	s.holds("ohmkeep-demo")
}
