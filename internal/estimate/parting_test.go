package estimate

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// parted gives the cornice's readings with some conductors of its feeds open.
func parted(t *testing.T, open ...[2]int) (*run.Run, []reading.Reading) {
	t.Helper()
	r, list := cornice(t)
	p, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range open {
		p.open[p.feeds[c[0]][c[1]]] = true
	}
	n, _ := p.Size()
	if err := p.Evaluate(p.start(), make([]float64, n), nil); err != nil {
		t.Fatal(err)
	}
	for i, o := range p.observations {
		counts := p.scales[o.scale].limits.Resolution
		list[o.reading].Value = math.Round(p.predicted[i]/counts) * counts
	}
	return r, list
}

// Each conductor that is open is found, and its rail; what it must have at least is where the
// sum of squares has risen by that of a 95 % interval; and nothing is left held.
func TestOpenConductorsAreFound(t *testing.T) {
	const near, far = 0, 1
	for _, open := range [][][2]int{
		{{far, int(run.Minus)}},
		{{near, int(run.Plus)}, {far, int(run.Minus)}},
	} {
		r, list := parted(t, open...)
		e, err := Make(r, list)
		if err != nil {
			t.Fatal(err)
		}
		p := e.problem
		var want, got []int
		for _, c := range open {
			want = append(want, p.feeds[c[0]][c[1]])
		}
		for _, c := range p.parted {
			got = append(got, c.at)
			if !p.splits[c.split].idle || !p.open[c.at] || !c.told {
				t.Errorf("unknown %d: %+v", c.at, c)
			}
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Fatalf("open are %v, found %v", want, got)
		}
		if len(p.held) != 0 {
			t.Errorf("held are %v", p.held)
		}
		for _, c := range p.parted {
			rise := func(ohms float64) float64 {
				p.held[c.at] = bend(ohms)
				defer delete(p.held, c.at)
				near := slices.Clone(e.x)
				near[c.at] = bend(ohms)
				fit, err := p.solve(near)
				if err != nil {
					t.Fatal(err)
				}
				return fit.SumSquares - e.sum
			}
			const most = verdict.Coverage95 * verdict.Coverage95
			if less, more := rise(0.98*c.excluded), rise(1.02*c.excluded); less < most || more > most {
				t.Errorf("at least %g Ω: 2 %% less costs %g, 2 %% more %g, and the end should cost %g", c.excluded, less, more, most)
			}
		}
		e.restore()
	}
}

// An open joint explains the readings about as well as one of some ohms, from where a fit
// begins that goes there; held against a sound one it is called open. A feed of two ohms is
// none, whose drop shows in every reading behind it, though a sound one explains nothing.
func TestOpenIsToldFromSomeOhms(t *testing.T) {
	r, list := cornice(t)
	for _, c := range []struct {
		unknown func(p *problem) int
		ohms    float64
		without string // readings, by the feed
		open    bool
	}{
		{func(p *problem) int { return p.joints[0][run.Plus] }, math.Inf(1), "", true},
		{func(p *problem) int { return p.joints[1][run.Minus] }, math.Inf(1), "", true},
		{func(p *problem) int { return p.feeds[0][run.Minus] }, 2, "far", false},
	} {
		some := slices.DeleteFunc(slices.Clone(list), func(x reading.Reading) bool { return x.From == c.without })
		p, err := pose(r, some)
		if err != nil {
			t.Fatal(err)
		}
		x := p.start()
		x[c.unknown(p)] = min(bend(c.ohms), unbendMost)
		n, _ := p.Size()
		if err := p.Evaluate(x, make([]float64, n), nil); err != nil {
			t.Fatal(err)
		}
		for i, o := range p.observations {
			counts := p.scales[o.scale].limits.Resolution
			some[o.reading].Value = math.Round(p.predicted[i]/counts) * counts
		}
		e, err := Make(r, some)
		if err != nil {
			t.Fatal(err)
		}
		var found []int
		for _, parted := range e.problem.parted {
			found = append(found, parted.at)
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

// A reel of two and a half times the copper or more, or the less, is no explanation, and every
// conductor is asked whether it is open, but those of a split that is idle; one of which
// nothing is stated may have any.
func TestFarFetchedReels(t *testing.T) {
	r, list := cornice(t)
	p, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	sound, err := p.solve(p.start())
	if err != nil {
		t.Fatal(err)
	}
	fit := *sound
	conductors := 2 * (len(r.Joints) + len(r.Feeds))
	for _, c := range []struct {
		plus, minus float64
		far         bool
	}{{1, 1, false}, {0.42, 0.42, false}, {0.38, 0.38, true}, {0.1, 0.9, false}, {2.4, 2.4, false}, {2.6, 2.6, true}, {0.5, 0.2, true}} {
		fit.X = slices.Clone(sound.X)
		fit.X[p.reels[2][run.Plus]], fit.X[p.reels[2][run.Minus]] = c.plus, c.minus
		want := 0
		if c.far {
			want = conductors
		}
		if got := p.farFetched(&fit); got != c.far || len(p.partings(&fit)) != want {
			t.Errorf("%g and %g times as stated: far-fetched %v, %d conductors are asked, not %d", c.plus, c.minus, got, len(p.partings(&fit)), want)
		}
	}
	p.splits[0].idle = true
	if got := len(p.partings(&fit)); got != conductors-2 {
		t.Errorf("%d conductors are asked with one parted, not %d", got, conductors-2)
	}
	p.splits[0].idle = false
	unstated := *r
	unstated.Reels = slices.Clone(r.Reels)
	unstated.Reels[2].Strip.LoopOhms = 0
	p.run = &unstated
	if p.farFetched(&fit) || len(p.partings(&fit)) != 0 {
		t.Error("a reel of which nothing is stated is far-fetched")
	}
}

// What is asked whether it is open has a quarter of an ohm or more for sure; a long feed,
// twice of what is stated.
func TestMuch(t *testing.T) {
	r, list := cornice(t)
	long := *r
	long.Feeds = slices.Clone(r.Feeds)
	long.Feeds[1].Ohms = 0.4
	p, err := pose(&long, list)
	if err != nil {
		t.Fatal(err)
	}
	const joint, far = 0, 3 // splits
	for _, c := range []struct {
		split     int
		ohms      float64
		deviation float64 // of each conductor, bent
		want      bool
	}{
		{joint, 0.24, 0.01, false},
		{joint, 0.26, 0.01, true},
		{joint, 0.26, 0.2, false},
		{far, 0.79, 0.01, false},
		{far, 0.81, 0.01, true},
	} {
		at := p.splits[c.split].at
		fit := &leastsquares.Fit{X: p.start(), Covariance: leastsquares.NewMatrix(len(p.unknowns), len(p.unknowns))}
		for _, k := range at {
			fit.X[k] = bend(c.ohms / 2)
			fit.Covariance.Row(k)[k] = c.deviation * c.deviation
		}
		if got := p.much(parting{at: at[0], split: c.split}, fit); got != c.want {
			t.Errorf("split %d of %g Ω: %v", c.split, c.ohms, got)
		}
	}
}
