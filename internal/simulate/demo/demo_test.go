package demo

import (
	"context"
	"errors"
	"strings"
	"testing"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

// read takes the readings of a demonstration over a kind of cable.
func read(t *testing.T, cable func() *devices.Pair) (*Demo, []reading.Reading, string) {
	t.Helper()
	d, err := New()
	if err != nil {
		t.Fatal(err)
	}
	d.Cable = cable
	var said strings.Builder
	var list []reading.Reading
	err = d.Read(t.Context(), &said, func(x reading.Reading) error {
		x.Row = len(list) + 2
		list = append(list, x)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return d, list, said.String()
}

// Over either cable both faults are found, nothing else fails, and the intervals
// hold the truth.
func TestDemoFindsItsFaults(t *testing.T) {
	for name, cable := range map[string]func() *devices.Pair{"in-process": devices.InProcess, "pseudo-terminal": terminal(t)} {
		if cable == nil {
			t.Log("no pseudo-terminals here; only the in-process cable is tried")
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel() // the instruments are waited for
			d, list, said := read(t, cable)
			if inside := strings.Contains(said, "inside the process"); inside != (name == "in-process") {
				t.Errorf("it says\n%s", said)
			}
			if !strings.Contains(said, devices.MeterIdentity) {
				t.Error("the meter does not say who it is")
			}
			// 2 sensors, a pair at the supply and 2 a reel, and 2 joints' plus and minus, in each of 3 steps
			if len(list) != 3*(2+1+2*3+2*2) {
				t.Errorf("%d readings", len(list))
			}
			a, err := judge.Make(d.Run, list)
			if err != nil {
				t.Fatal(err)
			}
			var failed []string
			for _, e := range a.Elements {
				if e.Rail != run.Loop {
					continue
				}
				if e.Verdict == assessment.Fail {
					failed = append(failed, e.Name)
				}
				if truth, known := d.truth(e); known && !(truth >= e.Low && truth <= e.High) {
					t.Errorf("%s %s: %g Ω is true, found %g to %g", e.Kind, e.Name, truth, e.Low, e.High)
				}
			}
			if len(failed) != 2 || !strings.Contains(strings.Join(failed, " "), badJointName) || !strings.Contains(strings.Join(failed, " "), thinFeedName) {
				t.Errorf("%q fail", failed)
			}
		})
	}
}

func terminal(t *testing.T) func() *devices.Pair {
	pair, err := devices.NewTerminal()
	if err != nil {
		return nil
	}
	if err := pair.Device.Close(); err != nil {
		t.Error(err)
	}
	return devices.NewPair
}

// truth is what the simulation knows of an element.
func (d *Demo) truth(e assessment.Element) (ohms float64, known bool) {
	switch e.Kind {
	case run.KindFeed:
		return d.Truth(false, d.Run.FeedIndex(e.Name)), true
	case run.KindReel:
		return d.ReelTruth(d.Run.ReelIndex(e.Name)), true
	case run.KindJoint:
		for i, j := range d.Run.Joints {
			if j.Name == e.Name {
				return d.Truth(true, i), true
			}
		}
	}
	return 0, false
}

func TestDemoEnds(t *testing.T) {
	d, err := New()
	if err != nil {
		t.Fatal(err)
	}
	d.Cable = devices.InProcess
	errFull := errors.New("no room")
	if err := d.Read(t.Context(), &strings.Builder{}, func(reading.Reading) error { return errFull }); !errors.Is(err, errFull) {
		t.Error(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	err = d.Read(ctx, &strings.Builder{}, func(reading.Reading) error { stop(); return nil })
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
