package search

import (
	"math"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
	"slices"
	"testing"
)

// Each open conductor is found with its rail. At its lower bound the sum of squares is 3.84 higher
// than at the fit.
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
			if e.Assumptions.Held[c.Unknown] != prior.MaxTransformed || !c.RailKnown {
				t.Errorf("unknown %d: %+v", c.Unknown, c)
			}
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Fatalf("open are %v, found %v", want, got)
		}
		if len(e.Assumptions.Held) != len(open) {
			t.Errorf("held are %v", e.Assumptions.Held)
		}
		for _, c := range e.Open {
			rise := func(ohms float64) float64 {
				near := slices.Clone(e.X)
				near[c.Unknown] = prior.Transform(ohms)
				fit, err := model.Solve(p, e.Assumptions.Holding(c.Unknown, near[c.Unknown]), near)
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
		unknown func(p *model.Model) int
		ohms    float64
		without string // readings, by the feed
		open    bool
	}{
		{func(p *model.Model) int { return p.Joints[0][run.Plus] }, math.Inf(1), "", true},
		{func(p *model.Model) int { return p.Joints[1][run.Minus] }, math.Inf(1), "", true},
		{func(p *model.Model) int { return p.Feeds[0][run.Minus] }, 2, "far", false},
	} {
		some := slices.DeleteFunc(slices.Clone(list), func(x reading.Reading) bool { return x.From == c.without })
		p, err := model.New(r, some)
		if err != nil {
			t.Fatal(err)
		}
		x := p.Start(p.Assume())
		x[c.unknown(p)] = min(prior.Transform(c.ohms), prior.MaxTransformed)
		point, err := p.At(p.Assume(), x)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range p.Observations {
			shown, err := point.Predict(&o, make([]float64, len(x)))
			if err != nil {
				t.Fatal(err)
			}
			counts := p.MeterRanges[o.MeterRange].Limits.Resolution
			some[o.Reading].Value = math.Round(shown/counts) * counts
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

// A reel with resistances that no strip has is not explained by noise. Then every conductor is tested
// for being open, except those of an element that has one open; else those of high elements, of
// which there are none here. A reel without a stated
// resistance may have nearly any.
func TestImpossibleReelsAreUnexplained(t *testing.T) {
	r, list := modeltest.Cornice()
	p, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	sound := solved(t, p, p.Assume())
	at := func(x []float64, open ...OpenConductor) explanation {
		fit := *sound.Fit
		fit.X = x
		return explanation{Fit: &fit, open: open}
	}
	x := slices.Clone(sound.X)
	conductors := 2*len(r.Joints) + len(r.Feeds) // a clamp saw current in the feeds' plus
	for _, c := range []struct {
		plus, minus float64
		impossible  bool
	}{{1, 1, false}, {0.5, 0.5, false}, {0.2, 0.2, true}, {0.5, 1, false}, {1.4, 1.4, false}, {2, 2, true}, {0.4, -0.2, true}} {
		x[p.Reels[2][run.Plus]], x[p.Reels[2][run.Minus]] = c.plus, c.minus
		e := at(x)
		if all, high := len(e.openCandidates(true)), len(e.openCandidates(false)); e.explained() == c.impossible || all != conductors || high != 0 {
			t.Errorf("%g and %g times as stated: explained is %v, of %d conductors %d are tested, %d as high ones", c.plus, c.minus, e.explained(), conductors, all, high)
		}
	}
	if got := len(at(x, OpenConductor{Split: 0}).openCandidates(true)); got != conductors-2 {
		t.Errorf("%d conductors are tested with one open, not %d", got, conductors-2)
	}
	unstated := *p
	unstated.Unknowns = slices.Clone(p.Unknowns)
	for _, k := range p.Reels[2] {
		unstated.Unknowns[k].Deviation = 1.5
	}
	fit := *at(x).Fit
	fit.Model = &unstated
	if e := (explanation{Fit: &fit}); !e.explained() || len(e.openCandidates(false)) != 0 {
		t.Error("a reel without a stated resistance is impossible")
	}
}

// An element has a high resistance from a quarter of an ohm on; a long feed from twice its stated
// resistance. Its prior odds are those of a high resistance where the readings exclude less, and
// those of a bad joint where they do not.
func TestHighResistance(t *testing.T) {
	r, list := modeltest.Cornice()
	long := *r
	long.Feeds = slices.Clone(r.Feeds)
	long.Feeds[1].Ohms = 0.4
	p, err := model.New(&long, list)
	if err != nil {
		t.Fatal(err)
	}
	const joint, far = 0, 3 // splits
	for _, c := range []struct {
		split int
		ohms  float64
		want  bool
	}{{joint, 0.24, false}, {joint, 0.26, true}, {far, 0.79, false}, {far, 0.81, true}} {
		fit := model.Fit{Model: p, Assumptions: p.Assume()}
		fit.X = p.Start(p.Assume())
		for _, k := range p.Splits[c.split].Rails {
			fit.X[k] = prior.Transform(c.ohms / 2)
		}
		if got := (explanation{Fit: &fit}).isHigh(c.split); got != c.want {
			t.Errorf("split %d of %g Ω: %v", c.split, c.ohms, got)
		}
	}

	read := solved(t, p, p.Assume())
	bad := *read.Fit
	bad.X = slices.Clone(read.X)
	for _, k := range p.Splits[joint].Rails {
		bad.X[k] = prior.Transform(0.03)
	}
	if sound, above := read.oddsOf(joint), (explanation{Fit: &bad}).oddsOf(joint); sound != 0 || above != badElement {
		t.Errorf("a sound joint: %g, a bad one: %g", sound, above)
	}
	nothing, err := model.New(&long, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		e    explanation
		want float64
	}{{read, highResistance}, {solved(t, nothing, nothing.Assume()), badElement}} {
		fit := *c.e.Fit
		fit.X = slices.Clone(fit.X)
		for _, k := range p.Splits[joint].Rails {
			fit.X[k] = prior.Transform(0.3)
		}
		// The sum of squares stays that of the best fit, from which the readings take 250 mΩ far away.
		if got := (explanation{Fit: &fit}).oddsOf(joint); math.Abs(got-c.want) > 0.5 {
			t.Errorf("%d readings: %g, not %g", len(fit.Observations), got, c.want)
		}
	}
}
