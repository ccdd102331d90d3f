package repair

import (
	"errors"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/advise/loadlimit"
	"ohmkeep/internal/result/assessment"
)

// Loads holds the highest safe level of a run for every colour of its steps.
type Loads struct {
	Basis   Basis
	Colours []Load // as wired
	Design  int    // the colour of the design step; -1 without one
	After   []Change
	Assumed []string
}

// Load is one colour as wired.
type Load struct {
	Mix    loadlimit.Mix
	Step   int    // index of the step whose fitted state and level are used
	Effect Effect // at the level of the design step, or of the brightest that shows the colour
	alone  Basis  // at the best fitted state, without the sides
}

// Change is the effect of a repair on every colour, at the best fitted state.
type Change struct {
	Repair  Repair
	Colours []Effect // in the order of Loads.Colours; without intervals
}

// ErrNoColour reports that no step of a run lights any channel.
var ErrNoColour = errors.New("no step lights any channel, so there is no load to limit")

// Rate computes the highest safe level of each colour of the run's steps, as wired and after each
// repair that is proposed at the design step. known returns the Basis of the run in a step. The
// error is ErrNoColour or one of solving the run.
func Rate(known func(step int) Basis, design int, o Options) (*Loads, error) {
	l, err := AsWired(known, design, o)
	if err != nil {
		return nil, err
	}
	r := l.Basis.Run
	carried := design
	if carried < 0 {
		carried = l.Colours[0].Step
	}
	var repairs []Repair
	repairs, l.Assumed = propose(l.Basis, r.Steps[carried], o)
	for _, repair := range repairs {
		change := Change{Repair: repair}
		for i := range l.Colours {
			e, ok := tried(l.Colours[i].alone, &repair.edit, l.Colours[i].Mix, l.Colours[i].Effect.Level, o)
			if !ok {
				break
			}
			change.Colours = append(change.Colours, e)
		}
		if len(change.Colours) == len(l.Colours) {
			l.After = append(l.After, change)
		}
	}
	return l, nil
}

// AsWired is like Rate without repairs.
func AsWired(known func(step int) Basis, design int, o Options) (*Loads, error) {
	k := known(max(design, 0))
	r := k.Run
	l := &Loads{Basis: k, Design: -1}
	for i, mix := range loadlimit.Mixes(r) {
		step, level := mix.Steps[0], 0.0
		for _, s := range mix.Steps {
			_, its := loadlimit.MixOf(r.Steps[s])
			if s == design {
				step, level, l.Design = s, its, i
				break
			}
			if its > level {
				step, level = s, its
			}
		}
		shown := known(step)
		b, err := newBench(shown, nil, mix, o.Limits)
		if err != nil {
			return nil, err
		}
		e, err := b.effect(level)
		if err != nil {
			return nil, err
		}
		shown.Sides = nil
		l.Colours = append(l.Colours, Load{mix, step, e, shown})
	}
	if len(l.Colours) == 0 {
		return nil, ErrNoColour
	}
	return l, nil
}

// Limiter returns the current setting, A, that is safe for all colours, and the colour that
// determines it. Where every colour holds at full level, the colour is -1 and the setting the
// greatest of all.
func Limiter(effects []Effect) (safe interval.Interval, decides int) {
	decides = -1
	most := interval.Interval{}
	for i, e := range effects {
		if e.Limiter.Value > most.Value {
			most = e.Limiter
		}
		if e.Rating.Binding.Subject == "" && e.Highest.Low >= 1 {
			continue
		}
		if decides < 0 || e.Limiter.Low < safe.Low || e.Limiter.Low == safe.Low && e.Limiter.Value < safe.Value {
			safe, decides = e.Limiter, i
		}
	}
	if decides < 0 {
		return most, -1
	}
	return safe, decides
}

// Effects returns the effect of every colour as wired.
func (l *Loads) Effects() []Effect {
	var list []Effect
	for _, c := range l.Colours {
		list = append(list, c.Effect)
	}
	return list
}

// Verdict is the verdict on the design step, or on every step without one.
func (l *Loads) Verdict() assessment.Verdict {
	if l.Design >= 0 {
		return l.Colours[l.Design].Effect.Verdict
	}
	worst := assessment.Pass
	for _, c := range l.Colours {
		if rank[c.Effect.Verdict] > rank[worst] {
			worst = c.Effect.Verdict
		}
	}
	return worst
}
