package demo

import (
	"bytes"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/simulate/plant"
)

var update = flag.Bool("update", false, "write the worked examples' readings again")

const examples = "../../../testdata"

var evening = time.Date(2026, 5, 4, 19, 0, 0, 0, time.FixedZone("", 2*60*60)) // invented

// The readings of the worked example of a commissioning are the demonstration's, but for
// their times: each demonstration reads the same.
func TestCommissioningExample(t *testing.T) {
	_, list, _ := read(t, devices.InProcess)
	for i := range list {
		list[i].Time = evening.Add(time.Duration(i) * 20 * time.Second)
	}
	holdsExample(t, "commissioning", list)
	text, err := os.ReadFile(filepath.Join(examples, "commissioning", "run.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if _, described, _ := bytes.Cut(text, []byte("\n")); !bytes.Equal(described, RunFile) { // the first line is a comment
		t.Error("its run file is not the demonstration's")
	}
}

// The readings of the worked example of a far end that changes colour are what a person
// reads on a plant: a joint of 70 mΩ in its plus, pixels that starve behind it.
func TestColourExample(t *testing.T) {
	r := runtest.Load(t, filepath.Join(examples, "colour", "run.toml"))
	rng := rand.New(rand.NewPCG(3, seed))
	p := plant.New(r, ordinary, rng)
	p.Joints[0] = plant.Rails{Plus: 0.070, Minus: 0.0015}
	list, err := p.Walk(evening, rng)
	if err != nil {
		t.Fatal(err)
	}
	holdsExample(t, "colour", list)
}

// holdsExample holds that the readings of a worked example are these. With -update they
// are written again.
func holdsExample(t *testing.T, folder string, list []reading.Reading) {
	t.Helper()
	file := filepath.Join(examples, folder, "readings.csv")
	var b bytes.Buffer
	if err := csv.Write(&b, list); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(kept, b.Bytes()) {
		t.Errorf("%s does not hold what the plant gives:\n%s\nWrite it again with -update.", file, b.Bytes())
	}
}
