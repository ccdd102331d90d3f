package showtest

import (
	"os"
	"path/filepath"
	"testing"

	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
)

// Root returns the path of the project.
func Root(t testing.TB) string {
	t.Helper()
	for dir := "."; ; dir = filepath.Join(dir, "..") {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		if abs, err := filepath.Abs(dir); err != nil || abs == filepath.Dir(abs) {
			t.Fatal("this is not a folder of the project")
		}
	}
}

// Example returns the run and the readings of an example in testdata, invented like all
// of them.
func Example(t testing.TB, name string) (*run.Run, []reading.Reading) {
	t.Helper()
	folder := filepath.Join(Root(t), "testdata", name)
	r, err := runfile.Load(filepath.Join(folder, "run.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := profile.Equip(r); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, "readings.csv")
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	set, err := csv.Parse(path, file, r)
	if err != nil {
		t.Fatal(err)
	}
	return r, set.Readings
}

// Commissioning returns what the program finds in the example of a commissioning.
func Commissioning(t testing.TB) *assessment.Assessment {
	t.Helper()
	a, err := judge.Make(Example(t, "commissioning"))
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Answers are what the program computes from one set of readings.
type Answers struct {
	Assessment  *assessment.Assessment
	Explanation *assessment.Explanation // of the first joint
	Repairs     *repair.Plan            // for the design step
	Loads       *repair.Loads
}

// ColourAnswers returns the answers to the example of colours.
func ColourAnswers(t testing.TB) Answers {
	t.Helper()
	r, readings := Example(t, "colour")
	est, err := estimate.Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	var all Answers
	if all.Assessment, all.Explanation, err = judge.Explain(r, readings, r.Joints[0].Name); err != nil {
		t.Fatal(err)
	}
	design := r.Limits.DesignStep
	known := repair.Fitted(r, est, all.Assessment, design)
	if all.Repairs, err = repair.Make(known, r.Steps[design], repair.Options{}); err != nil {
		t.Fatal(err)
	}
	if all.Loads, err = repair.Rate(func(int) repair.Basis { return known }, design, repair.Options{}); err != nil {
		t.Fatal(err)
	}
	return all
}
