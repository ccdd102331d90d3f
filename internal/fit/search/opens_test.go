package search

import (
	"math"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
	"slices"
	"testing"
)

// Each open conductor is found with its rail. At its lower bound the sum of squares is 3.84 higher
// than at the fit. Afterwards no conductor is held.
func TestOpenConductorsAreFound(t *testing.T) {
	const near, far = 0, 1
	for _, open := range [][][2]int{
		{{far, int(run.Minus)}},
		{{near, int(run.Plus)}, {far, int(run.Minus)}},
	} {
		r, list := modeltest.OpenFeeds(open...)
		p, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		e, err := Best(p)
		if err != nil {
			t.Fatal(err)
		}
		var want, got []int
		for _, c := range open {
			want = append(want, p.Feeds[c[0]][c[1]])
		}
		for _, c := range e.Open {
			got = append(got, c.Unknown)
			if !p.Splits[c.Split].Disabled || !p.HeldOpen[c.Unknown] || !c.RailKnown {
				t.Errorf("unknown %d: %+v", c.Unknown, c)
			}
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Fatalf("open are %v, found %v", want, got)
		}
		if len(p.HeldValue) != 0 {
			t.Errorf("held are %v", p.HeldValue)
		}
		for _, c := range e.Open {
			rise := func(ohms float64) float64 {
				p.HeldValue[c.Unknown] = prior.Transform(ohms)
				defer delete(p.HeldValue, c.Unknown)
				near := slices.Clone(e.Fit.X)
				near[c.Unknown] = prior.Transform(ohms)
				fit, err := p.Solve(near)
				if err != nil {
					t.Fatal(err)
				}
				return fit.SumSquares - e.Fit.SumSquares
			}
			const most = verdict.Coverage95 * verdict.Coverage95
			if less, more := rise(0.98*c.LowerBound), rise(1.02*c.LowerBound); less < most || more > most {
				t.Errorf("at least %g Ω: 2 %% less costs %g, 2 %% more %g, and the end should cost %g", c.LowerBound, less, more, most)
			}
		}
	}
}

// An open joint explains the readings about as well as one of some ohms; compared with a sound
// joint it is called open. A feed of two ohms is not, since its voltage drop shows in every
// reading behind it.
func TestOpenOrHighResistance(t *testing.T) {
	r, list := modeltest.Cornice()
	for _, c := range []struct {
		unknown func(p *model.Problem) int
		ohms    float64
		without string // readings, by the feed
		open    bool
	}{
		{func(p *model.Problem) int { return p.Joints[0][run.Plus] }, math.Inf(1), "", true},
		{func(p *model.Problem) int { return p.Joints[1][run.Minus] }, math.Inf(1), "", true},
		{func(p *model.Problem) int { return p.Feeds[0][run.Minus] }, 2, "far", false},
	} {
		some := slices.DeleteFunc(slices.Clone(list), func(x reading.Reading) bool { return x.From == c.without })
		p, err := model.New(r, some)
		if err != nil {
			t.Fatal(err)
		}
		x := p.Start()
		x[c.unknown(p)] = min(prior.Transform(c.ohms), prior.MaxTransformed)
		n, _ := p.Size()
		if err := p.Evaluate(x, make([]float64, n), nil); err != nil {
			t.Fatal(err)
		}
		for i, o := range p.Observations {
			counts := p.MeterRanges[o.MeterRange].Limits.Resolution
			some[o.Reading].Value = math.Round(p.Predicted[i]/counts) * counts
		}
		again, err := model.New(r, some)
		if err != nil {
			t.Fatal(err)
		}
		e, err := Best(again)
		if err != nil {
			t.Fatal(err)
		}
		var found []int
		for _, parted := range e.Open {
			found = append(found, parted.Unknown)
		}
		want := []int{c.unknown(p)}
		if !c.open {
			want = nil
		}
		if !slices.Equal(found, want) {
			t.Errorf("unknown %d of %g Ω: open are %v", c.unknown(p), c.ohms, found)
		}
	}
}

// A reel with two and a half times its stated resistance or more, or a fraction as small, is
// impossible, and every conductor is then tested for being open, except those of a disabled
// split. A reel without a stated resistance may have any.
func TestImpossibleReels(t *testing.T) {
	r, list := modeltest.Cornice()
	problem, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	p := &hypothesis{Problem: problem}
	sound, err := p.Solve(p.Start())
	if err != nil {
		t.Fatal(err)
	}
	fit := *sound
	conductors := 2*len(r.Joints) + len(r.Feeds) // a clamp saw current in the feeds' plus
	for _, c := range []struct {
		plus, minus float64
		far         bool
	}{{1, 1, false}, {0.42, 0.42, false}, {0.38, 0.38, true}, {0.1, 0.9, false}, {2.4, 2.4, false}, {2.6, 2.6, true}, {0.5, 0.2, true}} {
		fit.X = slices.Clone(sound.X)
		fit.X[p.Reels[2][run.Plus]], fit.X[p.Reels[2][run.Minus]] = c.plus, c.minus
		want := 0
		if c.far {
			want = conductors
		}
		if got := p.hasImpossibleReel(&fit); got != c.far || len(p.openCandidates(&fit)) != want {
			t.Errorf("%g and %g times as stated: far-fetched %v, %d conductors are asked, not %d", c.plus, c.minus, got, len(p.openCandidates(&fit)), want)
		}
	}
	p.Splits[0].Disabled = true
	if got := len(p.openCandidates(&fit)); got != conductors-2 {
		t.Errorf("%d conductors are asked with one parted, not %d", got, conductors-2)
	}
	p.Splits[0].Disabled = false
	unstated := *r
	unstated.Reels = slices.Clone(r.Reels)
	unstated.Reels[2].Strip.LoopOhms = 0
	p.Run = &unstated
	if p.hasImpossibleReel(&fit) || len(p.openCandidates(&fit)) != 0 {
		t.Error("a reel of which nothing is stated is far-fetched")
	}
}

// An element is tested for an open conductor from a quarter of an ohm that is significant or
// shows a voltage; a long feed from twice its stated resistance.
func TestMayBeOpen(t *testing.T) {
	r, list := modeltest.Cornice()
	long := *r
	long.Feeds = slices.Clone(r.Feeds)
	long.Feeds[1].Ohms = 0.4
	list = append(list, reading.Reading{Step: "white 1", From: "north.start-", To: "west.end-", Meter: "hand", Value: 0.001})
	problem, err := model.New(&long, list)
	if err != nil {
		t.Fatal(err)
	}
	p := &hypothesis{Problem: problem}
	const joint, far = 0, 3 // splits
	for _, c := range []struct {
		split     int
		ohms      float64
		deviation float64 // of each conductor, bent
		gap       float64 // V, that a reading over the joint's minus shows
		want      bool
	}{
		{joint, 0.24, 0.01, 0, false},
		{joint, 0.26, 0.01, 0, true},
		{joint, 0.26, 0.2, 0.007, false}, // within what the meter can be off by, and some
		{joint, 0.26, 0.2, -0.009, true},
		{far, 0.79, 0.01, 0.009, false},
		{far, 0.81, 0.01, 0, true},
		{far, 0.81, 0.5, 0.009, false}, // the volts are another one's
	} {
		at := p.Splits[c.split].Rails
		over := &p.Observations[len(list)-1]
		over.Value = c.gap
		fit := &leastsquares.Fit{X: p.Start(), Covariance: leastsquares.NewMatrix(len(p.Unknowns), len(p.Unknowns))}
		for _, k := range at {
			fit.Covariance.Row(k)[k] = c.deviation * c.deviation
			fit.X[k] = prior.Transform(c.ohms / 2)
		}
		if got := p.mayBeOpen(OpenConductor{Unknown: at[0], Split: c.split}, fit); got != c.want {
			t.Errorf("split %d of %g Ω: %v", c.split, c.ohms, got)
		}
	}
}
