package estimate

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/ladder"
	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// cornice is an invented run of 900 pixels in three reels, fed at both ends, with
// four steps; and 32 readings of it by a hand meter, as a run without faults gives.
func cornice(t testing.TB) (*run.Run, []reading.Reading) {
	t.Helper()
	st := run.Strip{Volts: 5, PixelsPerMetre: 60, Idle: 0.0008, LoopOhms: 0.08}
	for i, name := range []string{"red", "green", "blue"} {
		st.Channels = append(st.Channels, run.Channel{Name: name, Amps: 0.012, Forward: 1.6 + 0.5*float64(i), Knee: 2.5 + 0.55*float64(i)})
	}
	r := &run.Run{Name: "invented", Ambient: 20, Supplies: []run.Supply{{Name: "A", Volts: 5.1, Ohms: 0.005}},
		Limits: run.Limits{DesignStep: -1},
		Meters: []run.Meter{{Name: "hand", Ranges: []run.Range{
			{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001, Fraction: 0.005, Counts: 3},
			{Quantity: run.Current, UpTo: 60, Resolution: 0.01, Fraction: 0.015, Counts: 3}}}}}
	for i, name := range []string{"west", "north", "east"} {
		r.Reels = append(r.Reels, run.Reel{Name: name, Pixels: 300, Follows: i - 1, Strip: st})
	}
	r.Joints = []run.Joint{{Name: "west-north", From: 0, To: 1, Ohms: 0.003}, {Name: "north-east", From: 1, To: 2, Ohms: 0.003}}
	for i, to := range []run.Place{{Kind: run.AtReel, Pixel: 1}, {Kind: run.AtReel, Index: 2, Pixel: 300}} {
		r.Feeds = append(r.Feeds, run.Feed{Name: []string{"near", "far"}[i], From: run.Place{Kind: run.AtSupply}, To: to,
			Ohms: 0.1 + 0.05*float64(i), WireOhms: 0.1 + 0.05*float64(i), TempCo: ladder.CopperTempCo})
	}
	places := []string{"A", "west.start", "west.end", "north.start", "north.end", "east.start"}
	var list []reading.Reading
	for _, level := range []float64{0, 0.02, 0.05, 0.1} {
		step := run.Step{Name: "white " + string(rune('0'+len(r.Steps))), Levels: map[string]float64{"red": level, "green": level, "blue": level}}
		r.Steps = append(r.Steps, step)
		for _, at := range places {
			list = append(list, reading.Reading{Step: step.Name, From: at + "+", To: at + "-", Meter: "hand"})
		}
		for _, f := range r.Feeds {
			list = append(list, reading.Reading{Step: step.Name, Quantity: run.Current, From: f.Name, Meter: "hand"})
		}
	}
	fill(t, r, list)
	return r, list
}

// fill gives readings the values that the run as stated would show, rounded to what
// the meter shows.
func fill(t testing.TB, r *run.Run, list []reading.Reading) {
	t.Helper()
	for i := range list {
		list[i].Row, list[i].Value = i+2, 1
	}
	p, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	n, _ := p.Size()
	if err := p.Evaluate(p.start(), make([]float64, n), nil); err != nil {
		t.Fatal(err)
	}
	for i, o := range p.observations {
		counts := p.scales[o.scale].limits.Resolution
		list[o.reading].Value = math.Round(p.predicted[i]/counts) * counts
	}
}

// Every derivative of every residual against central differences, at random points.
func TestJacobianAgreesWithCentralDifferences(t *testing.T) {
	r, list := cornice(t)
	p, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(6, 1))
	n, m := p.Size()
	for range 6 {
		x := p.start()
		for j, u := range p.unknowns {
			spread := 0.3 * u.deviation
			if u.what == jointRail || u.what == feedRail {
				spread = 0.03
			}
			x[j] += spread * rng.NormFloat64()
			if u.what == jointRail || u.what == feedRail {
				x[j] = math.Abs(x[j]) // inside; see chain for what lies beyond
			}
		}
		jacobian := leastsquares.NewMatrix(n, m)
		residuals, up, down := make([]float64, n), make([]float64, n), make([]float64, n)
		if err := p.Evaluate(x, residuals, jacobian); err != nil {
			t.Fatal(err)
		}
		for j, u := range p.unknowns {
			h := 2e-3 * math.Max(math.Abs(u.deviation), 1e-3)
			if u.what == jointRail || u.what == feedRail {
				h = 2e-5 // a split bends within milliohms
			}
			was := x[j]
			evaluate := func(at float64, into []float64) {
				x[j] = at
				if err := p.Evaluate(x, into, nil); err != nil {
					t.Fatal(err)
				}
			}
			evaluate(was+h, up)
			evaluate(was-h, down)
			x[j] = was
			for i := range n {
				got, want := jacobian.At(i, j), (up[i]-down[i])/(2*h)
				// A residual is a voltage over 0.4 mV, so 0.1 per unit is 0.04 mV.
				if math.Abs(got-want) > 1e-3*math.Abs(want)+0.1 {
					t.Errorf("d residual %d / d unknown %d (%d): %g, difference %g", i, j, u.what, got, want)
				}
			}
		}
	}
}

// Readings without any error give back what the run is, to the meter's last digit.
func TestRoundedReadingsGiveTheRunBack(t *testing.T) {
	r, list := cornice(t)
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if !e.Fit.Converged || e.Fit.PValue < 0.5 {
		t.Errorf("fit %+v", e.Fit)
	}
	for _, x := range e.Elements {
		truth := math.NaN()
		switch {
		case x.Rail != "loop":
		case x.Kind == "joint":
			truth = r.Joints[x.Index].Ohms
		case x.Kind == "feed":
			truth = r.Feeds[x.Index].Ohms
		case x.Kind == "reel":
			truth = r.Reels[x.Index].Strip.LoopOhms
		}
		if math.IsNaN(truth) {
			continue
		}
		if off := math.Abs(x.Belief.Mean - x.Scale(truth)); off > 2*x.Belief.Deviation {
			t.Errorf("%s %d: %g, truth %g", x.Kind, x.Index, x.Ohms(x.Belief.Mean), truth)
		}
	}
}

// The same readings in another order give the same answer, and again the same bits.
func TestOrderOfReadingsDoesNotMatter(t *testing.T) {
	r, list := cornice(t)
	a, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.x {
		if a.x[i] != again.x[i] {
			t.Fatalf("unknown %d: %v and again %v", i, a.x[i], again.x[i])
		}
	}
	back := make([]reading.Reading, len(list))
	for i, x := range list {
		back[len(list)-1-i] = x
	}
	b, err := Make(r, back)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.Elements {
		x, y := a.Elements[i].Belief, b.Elements[i].Belief
		if math.Abs(x.Mean-y.Mean) > 1e-3*x.Deviation || math.Abs(x.Deviation-y.Deviation) > 1e-3*x.Deviation {
			t.Errorf("element %d: %+v, backwards %+v", i, x, y)
		}
	}
}

func BenchmarkFit(b *testing.B) {
	r, list := cornice(b)
	b.Run("pixels=900/steps=4/readings=32", func(b *testing.B) {
		for range b.N {
			if _, err := Make(r, list); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// A meter's gain error is common to its readings and does not average out. A feed's
// resistance is a drop over a current, so beside a meter without gain errors its
// relative variance is greater by that of both gains: limits of 0.5 % and 1.5 %, each
// over √3 (JCGM 100:2008, 4.3.7). Repeating every reading changes nothing of that.
func TestGainErrorsStayInTheInterval(t *testing.T) {
	r, list := cornice(t)
	for range 3 {
		list = append(list, list...)
	}
	exact := *r
	exact.Meters = []run.Meter{{Name: "hand"}}
	for _, one := range r.Meters[0].Ranges {
		one.Fraction = 0
		exact.Meters[0].Ranges = append(exact.Meters[0].Ranges, one)
	}
	want := (0.005*0.005 + 0.015*0.015) / 3
	// Of the two feeds only near is read at both its ends, so that it is that quotient.
	more := feedVariances(t, r, list)[0] - feedVariances(t, &exact, list)[0]
	// What is known of the loads beforehand says a little of the clamp's gain.
	if more < 0.8*want || more > 1.1*want {
		t.Errorf("gains add %.3g to the relative variance, want %.3g", more, want)
	}
}

// feedVariances gives the relative variances of the feeds' resistances.
func feedVariances(t *testing.T, r *run.Run, list []reading.Reading) []float64 {
	t.Helper()
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	var v []float64
	for _, x := range e.Elements {
		if x.Kind == "feed" && x.Rail == "loop" {
			relative := x.Belief.Deviation * unbendSlope(x.Belief.Mean) / x.Ohms(x.Belief.Mean)
			v = append(v, relative*relative)
		}
	}
	if len(v) != len(r.Feeds) {
		t.Fatalf("%d feeds", len(v))
	}
	return v
}
