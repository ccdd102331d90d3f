//go:build unix

package cli

import (
	"context"
	"flag"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/simulate/calibrationtest"
	"ohmkeep/internal/store"
)

var manyReadings = flag.Int("readings", 30_000, "how many readings a store holds that is assessed; `1000000` is what is promised")

// wandering gives the readings of a survey again and again, once a second and step by
// step, with the last digit of each wandering by so many counts of 0.1 mV.
func wandering(base []reading.Reading, n int, counts float64) iter.Seq2[reading.Reading, error] {
	rng := rand.New(rand.NewPCG(10, 11))
	return func(yield func(reading.Reading, error) bool) {
		rounds := n/len(base) + 1
		at := base[0].Time
		for k := 0; k < len(base); {
			end := k
			for end < len(base) && base[end].Step == base[k].Step {
				end++
			}
			for range rounds {
				at = at.Add(time.Second)
				for _, x := range base[k:end] {
					digits := 4
					if x.Unit == "A" {
						digits = 3
					}
					x.Time = at
					x.Text = fmt.Sprintf("%.*f", digits, x.Value+counts*math.Pow10(-digits)*rng.NormFloat64())
					if !yield(x, nil) {
						return
					}
				}
			}
			k = end
		}
	}
}

// wide are the readings of the shelf with a joint of 60 mΩ, by a meter that shows more
// digits than the bench meter has, which wandering rounds away.
func (s session) wide() []reading.Reading {
	s.Helper()
	s.write("shelf.toml", shelf)
	s.write("fine.toml", strings.NewReplacer("resolution = 0.0001", "resolution = 1e-7", "resolution = 0.001", "resolution = 1e-6").Replace(shelf))
	r, err := loadRun(s.path("fine.toml"))
	if err != nil {
		s.Fatal(err)
	}
	s.write("readings.csv", s.simulated(r.Run, func(p *calibrationtest.Plant) { p.Joints[0] = ladder.Rails{Plus: 0.03, Minus: 0.03} }, everything))
	return s.readings("fine.toml", "readings.csv")
}

// stored puts readings of the shelf into a store.
func (s session) stored(readings iter.Seq2[reading.Reading, error]) {
	s.Helper()
	db, err := store.Open(s.path("shelf.db"))
	if err == nil {
		_, _, err = db.AppendSeq(context.Background(), "Book shelf", "a board", readings)
	}
	if err != nil {
		s.Fatal(err)
	}
	if err := db.Close(); err != nil {
		s.Fatal(err)
	}
}

// A watch's store of any size is assessed: what was read again and again is taken
// together, and says what the readings by hand say, only better. The processor time and
// memory of the process are bounded (issue: 3 s and 100 MB for a million).
func TestAssessManyReadings(t *testing.T) {
	s := newSession(t)
	base := s.wide()
	s.stored(wandering(base, *manyReadings, 3))
	program := process("assess", "shelf.toml", "--store", "shelf.db", "--json")
	var out, said strings.Builder
	program.Stdout, program.Stderr = &out, &said
	most, err := finish(program)
	if program.ProcessState.ExitCode() != Fails {
		t.Fatalf("%v\n%s%s", err, out.String(), said.String())
	}
	took := processorTime(program)
	t.Logf("%d readings: %.2f s of processor time, %d MB resident", *manyReadings, took.Seconds(), most>>20)
	if most > 100<<20 && !raceDetector {
		t.Errorf("%d MB resident", most>>20)
	}
	if bound := time.Second + time.Duration(*manyReadings)*2*time.Microsecond; took > bound && !raceDetector {
		t.Errorf("took %v, bound %v", took, bound)
	}
	joint := element(t, out.String(), "joint", "left-right")
	low, high := joint["low"].(float64), joint["high"].(float64)
	if joint["verdict"] != "fail" || low > 60 || high < 60 {
		t.Errorf("60 mΩ were simulated: %v", joint)
	}
	if n := len(decoded(t, out.String())["readings"].([]any)); n != len(base) {
		t.Errorf("%d lines of readings of %d places and steps", n, len(base))
	}
	if !strings.Contains(said.String(), fmt.Sprintf("taken together as %d", len(base))) {
		t.Errorf("says %s", said.String())
	}
}

// usedTime returns the processor time that this process has used.
func usedTime(t *testing.T) time.Duration {
	t.Helper()
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		t.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

// Thousands of rows of a file, each named on its own line: what it differs from, and that a
// slip of the hand among them contradicts the others.
func TestAssessManyRows(t *testing.T) {
	s := newSession(t)
	base := s.wide()
	rows := 0
	var text strings.Builder
	if err := csv.WriteSeq(&text, func(yield func(reading.Reading, error) bool) {
		for x, err := range wandering(base, 5000, 3) {
			if rows++; rows == 3003 {
				x.Text = "3" + x.Text[1:] // 4.9… V typed wrong
			}
			if !yield(x, err) {
				return
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	s.write("readings.csv", text.String())
	begun := usedTime(t)
	o := s.do(`ohmkeep assess shelf.toml readings.csv --json`).exits(Fails)
	if took := usedTime(t) - begun; took > time.Second && !raceDetector {
		t.Errorf("took %v of processor time", took)
	}
	list := decoded(t, o.out)["readings"].([]any)
	if len(list) != rows {
		t.Fatalf("%d lines of %d rows", len(list), rows)
	}
	for i, x := range list {
		x := x.(map[string]any)
		if x["row"] != float64(i+2) || x["suspect"] != (i == 3002) || x["predicted"] == nil {
			t.Fatalf("%v", x)
		}
		if z := x["standardised"].(float64); math.Abs(z) > 6 != (i == 3002) {
			t.Errorf("%v", x)
		}
	}
	if joint := element(t, o.out, "joint", "left-right"); joint["verdict"] != "fail" || joint["low"].(float64) > 60 || joint["high"].(float64) < 60 {
		t.Errorf("60 mΩ were simulated: %v", joint)
	}
}

// --since and --until choose the evening: the joint was sound on the first, is bad
// on the second, and every command that takes a store says so.
func TestReadingsOfAStretch(t *testing.T) {
	s := newParallelSession(t)
	later := func(days int) {
		readings := s.readings("shelf.toml", "readings.csv")
		s.stored(func(yield func(reading.Reading, error) bool) {
			for _, x := range readings {
				for i := range 12 {
					y := x
					y.Time = x.Time.AddDate(0, 0, days).Add(time.Duration(i) * time.Second)
					if !yield(y, nil) {
						return
					}
				}
			}
		})
	}
	s.walk(3, everything)
	later(0)
	s.walk(60, everything)
	later(7)
	s.do(`ohmkeep assess shelf.toml --store shelf.db`).exits(Fails).says("288 readings left out, for newer or steadier ones")
	s.do(`ohmkeep assess shelf.toml --store shelf.db --until 2026-03-05T00:00:00Z`).exits(Passes)
	s.do(`ohmkeep assess shelf.toml --store shelf.db --since 2026-03-05T00:00:00Z --json`).exits(Fails)
	s.do(`ohmkeep assess shelf.toml --store shelf.db --since 2027-03-05T00:00:00Z`).refused(`holds no readings of run "Book shelf" between --since and --until`)
	s.do(`ohmkeep assess shelf.toml --store shelf.db --since yesterday`).refused(`--since: "yesterday" is not a time`)
	s.do(`ohmkeep assess shelf.toml readings.csv --since 2026-03-05T00:00:00Z`).refused("--since and --until choose readings of a store")
	for _, command := range []string{"colour", "repair", "limit"} {
		sound := s.do(`ohmkeep ` + command + ` shelf.toml --store shelf.db --until 2026-03-05T00:00:00Z --json`)
		bad := s.do(`ohmkeep ` + command + ` shelf.toml --store shelf.db --json`)
		if sound.status == Wrong || bad.status == Wrong || sound.out == bad.out {
			t.Errorf("%s: %d %s\n%d %s", command, sound.status, sound.out, bad.status, bad.out)
		}
	}
}

// Readings that name no step tell nothing of a run with several, and what is missing is said.
func TestAssessStoreWithoutSteps(t *testing.T) {
	s := newSession(t)
	base := s.wide()
	s.stored(func(yield func(reading.Reading, error) bool) {
		for x, err := range wandering(base, 5000, 3) {
			x.Step = ""
			if !yield(x, err) {
				return
			}
		}
	})
	s.do(`ohmkeep assess shelf.toml --store shelf.db`).exits(Unproven).
		says("no reading names its step", "ohmkeep watch --help", "dark, white 5 %, white 20 %")
}
