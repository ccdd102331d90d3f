// Package repair evaluates the possible repairs of a run, each alone and the best pair, by
// their effect on colour, volts, heat and the highest safe current.
//
// A repair is an edit of the run; its effect is that of the edited run, solved with
// the resistances that the readings gave where there are readings, and so carries
// their interval. New parts have the values that the Repair states, without uncertainty.
//
// Cost is counted in points of labour and material (common practice, no source):
// they only rank repairs and are not prices.
package repair

import (
	"slices"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/advise/loadlimit"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Basis is a run and the resistances that repairs are computed with.
type Basis struct {
	Run *run.Run
	// Best is the fitted state in the given step. Sides holds pairs of states one standard deviation
	// away from it, a pair for each independent direction. Without readings Best is what the file
	// states and there are no Sides.
	Best  estimate.FittedState
	Sides [][2]estimate.FittedState
	// StateAt returns the state that lies the given number of standard deviations along each of the
	// directions of Sides; nil without Sides.
	StateAt       func(deviations []float64) estimate.FittedState
	knees         float64          // V, shift of the knees if channels fall below them in a straight line
	seen          *colourloss.Spot // the worst pixel as wired in the given step; nil without readings
	seenLevel     float64          // of that step
	FromReadings  bool             // false: Best is what the file states
	Unexplained   bool             // the readings contradict the run file
	FailingJoints []int
	FailingFeeds  []int // that fail their limits: indexes into the run
	BadFeeds      []int // of these, the ones above what their wire and connectors may have
}

// Stated is a run without readings. Joints and feeds that
// the file itself states above their limits count as failing.
func Stated(r *run.Run) Basis {
	c := loadlimit.Stated(r)
	k := Basis{Run: r, Best: estimate.FittedState{Parameters: c.Parameters, Adjust: c.Adjust}}
	for i, j := range r.Joints {
		if j.Ohms > j.Limit && !j.PlusCut {
			k.FailingJoints = append(k.FailingJoints, i)
		}
	}
	for i, f := range r.Feeds {
		if f.Ohms > r.FeedExcess(i) {
			k.FailingFeeds, k.BadFeeds = append(k.FailingFeeds, i), append(k.BadFeeds, i)
		}
	}
	return k
}

// Fitted is a run as its readings show it in a step, by its index in the run.
func Fitted(r *run.Run, est *estimate.Estimate, a *assessment.Assessment, step int) Basis {
	k := Basis{Run: r, FromReadings: true, Unexplained: a.Doubtful && !a.Unread}
	directions := est.Directions(step)
	k.Best, k.Sides, k.StateAt = est.FittedState(step), directions.OneSigma(), directions.Along
	k.knees = straightShift(k, r.Steps[step])
	if spot, err := colourloss.Worst(r, step, est); err == nil {
		k.seen = &spot
		_, k.seenLevel = loadlimit.MixOf(r.Steps[step])
	}
	for _, e := range a.Elements {
		if e.Verdict != assessment.Fail || e.Rail != run.Loop {
			continue
		}
		switch e.Kind {
		case run.KindJoint:
			for i, j := range r.Joints {
				if j.Name == e.Name {
					k.FailingJoints = append(k.FailingJoints, i)
				}
			}
		case run.KindFeed:
			i := r.FeedIndex(e.Name)
			k.FailingFeeds = append(k.FailingFeeds, i)
			if e.Low > r.FeedExcess(i) {
				k.BadFeeds = append(k.BadFeeds, i)
			}
		}
	}
	return k
}

// straightShift returns the further shift of the knees, V, if channels fall below them in a
// straight line; 0 where the run cannot be solved.
func straightShift(k Basis, step run.Step) float64 {
	net, err := ladder.New(k.Run, k.Best.Parameters.DrainPlaces()...)
	if err != nil {
		return 0
	}
	solver := net.NewSolver()
	if err := solver.Solve(&k.Best.Parameters, ladder.Loads(k.Run, step, k.Best.Adjust)); err != nil {
		return 0
	}
	return solver.StraightShift(step, k.Best.Adjust)
}

// straight returns a state whose channels fall below their knees in a straight line.
func (k Basis) straight(a estimate.FittedState) estimate.FittedState {
	a.Adjust.Shape = pixel.Ramp
	a.Adjust.Shift += k.knees
	return a
}

// Options are the settings of proposals. A zero value takes the usual figure.
type Options struct {
	Limits    loadlimit.Allowances
	FarMetres float64 // of a new feed to a far end, one way; 0 = along the strip, and the near feed's again
	Conductor string  // of new feeds; "" = as the nearest feed's
}

// Effect is the state of a run at the design load, and its highest safe level.
type Effect struct {
	Level       float64            // of the colour, at which State is
	State       loadlimit.State    // at Basis.Best
	Rating      *loadlimit.Rating  // at Basis.Best
	Shift       interval.Interval  // u′v′ at the worst pixel
	Dimming     interval.Interval  // part of the light of the dimmest pixel
	LeastVolts  interval.Interval  // V
	JointWatts  interval.Interval  // W in the hottest joint
	Utilisation interval.Interval  // of the limit that is used up most; above 1 it is broken
	Highest     interval.Interval  // level up to which everything holds
	Limiter     interval.Interval  // A that a controller counts then
	LoadVerdict assessment.Verdict // of the design load against every limit
	Remaining   []string           // joints and feeds that stay above their own limits
	Verdict     assessment.Verdict // LoadVerdict, or Fail where anything remains
}

// Option is one repair or two together, with the effect.
type Option struct {
	Repairs []Repair
	Effect  Effect
}

// Cost is the sum of the costs of the repairs.
func (o Option) Cost() float64 {
	sum := 0.0
	for _, r := range o.Repairs {
		sum += r.Cost()
	}
	return sum
}

// Plan lists the possible repairs of a run.
type Plan struct {
	Basis   Basis
	Mix     loadlimit.Mix
	Step    string
	Level   float64 // of the design step
	AsWired Effect
	Options []Option // those that meet every limit first, the cheapest of them first
	Pair    *Option  // the best two together; nil where no two go together
	Assumed []string // by the proposals
}

// Ranked lists all options, each repair alone and the best pair, in the order that they
// are recommended in.
func (p *Plan) Ranked() []Option {
	all := slices.Clone(p.Options)
	if p.Pair != nil {
		i, _ := slices.BinarySearchFunc(all, *p.Pair, better)
		all = slices.Insert(all, i, *p.Pair)
	}
	return all
}

// Wins returns the improvement by an option: u′v′ and volts of the worst pixel, watts of the
// hottest joint, and amperes of the highest safe current.
func (p *Plan) Wins(o Option) (shift, volts, watts, amps float64) {
	was, is := p.AsWired, o.Effect
	return was.Shift.Value - is.Shift.Value, is.LeastVolts.Value - was.LeastVolts.Value,
		was.JointWatts.Value - is.JointWatts.Value, is.Limiter.Value - was.Limiter.Value
}
