package repair

import (
	"math"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/advise/loadlimit"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// bench solves one edited run with the resistances of each fitted state.
type bench struct {
	k       Basis
	of      *run.Run
	edit    *edit // nil = as wired
	mix     loadlimit.Mix
	circuit *loadlimit.Circuit
}

func newBench(k Basis, e *edit, mix loadlimit.Mix, limits loadlimit.Allowances) (*bench, error) {
	b := &bench{k: k, of: k.Run, edit: e, mix: mix}
	if e != nil {
		b.of = e.run(k.Run)
	}
	var err error
	b.circuit, err = loadlimit.New(loadlimit.Condition{Run: b.of, Parameters: b.parameters(k.Best), Adjust: k.Best.Adjust}, mix, limits)
	return b, err
}

func (b *bench) parameters(a estimate.FittedState) ladder.Parameters {
	if b.edit == nil {
		return a.Parameters
	}
	return b.edit.parameters(a.Parameters, b.k.Run, b.of)
}

func (b *bench) take(a estimate.FittedState) { b.circuit.SetParameters(b.parameters(a), a.Adjust) }

// spread sums the squared deviations of a value to either side over all directions. Where both sides
// of a direction move the value the same way, the larger deviation counts, so that a curved
// dependence is not lost.
type spread struct{ best, up, down float64 }

func (s *spread) add(sides [2]float64) {
	up := math.Max(0, math.Max(sides[0], sides[1])-s.best)
	down := math.Max(0, s.best-math.Min(sides[0], sides[1]))
	s.up += up * up
	s.down += down * down
}

func (s *spread) number() interval.Interval {
	return interval.New(s.best, s.best-verdict.Coverage95*math.Sqrt(s.down), s.best+verdict.Coverage95*math.Sqrt(s.up))
}

// figures are the quantities that get an interval.
type figures struct{ shift, lost, volts, watts, use, level float64 }

func figuresOf(s *loadlimit.State) figures {
	worst := s.Worst()
	return figures{shift: s.Utilisations[limits.Colour].Value, lost: s.Utilisations[limits.Brightness].Value, volts: s.LeastVolt,
		watts: s.Utilisations[limits.JointHeat].Value, use: worst.Ratio()}
}

// effect returns the state of the run at a level and the highest level that it allows.
func (b *bench) effect(level float64) (Effect, error) {
	e := Effect{Level: level}
	b.take(b.k.Best)
	s, err := b.circuit.Solve(level)
	if err != nil {
		return e, err
	}
	e.State = *s
	if e.Rating, err = b.circuit.HighestLevel(); err != nil {
		return e, err
	}
	best := figuresOf(&e.State)
	if best.level, err = b.nearby(e.Rating); err != nil {
		return e, err
	}
	shift, lost, volts := spread{best: best.shift}, spread{best: best.lost}, spread{best: best.volts}
	watts, use, highest := spread{best: best.watts}, spread{best: best.use}, spread{best: best.level}
	var tilt []float64 // of the least volts, per deviation along each direction
	for _, pair := range b.k.Sides {
		var at [2]figures
		for side, state := range pair {
			if at[side], err = b.figures(state, level, e.Rating); err != nil {
				return e, err
			}
		}
		each := func(s *spread, of func(figures) float64) { s.add([2]float64{of(at[0]), of(at[1])}) }
		each(&shift, func(f figures) float64 { return f.shift })
		each(&lost, func(f figures) float64 { return f.lost })
		each(&volts, func(f figures) float64 { return f.volts })
		each(&watts, func(f figures) float64 { return f.watts })
		each(&use, func(f figures) float64 { return f.use })
		each(&highest, func(f figures) float64 { return f.level })
		tilt = append(tilt, (at[0].volts-at[1].volts)/2)
	}
	inf := math.Inf(1)
	e.Shift, e.Dimming = shift.number().Clamp(0, inf), lost.number().Clamp(0, 1)
	e.LeastVolts, e.JointWatts = volts.number().Clamp(0, inf), watts.number().Clamp(0, inf)
	e.Utilisation, e.Highest = use.number().Clamp(0, inf), highest.number().MovedTo(e.Rating.Level).Clamp(0, 1)
	if err := b.extremes(&e, tilt, best.level); err != nil {
		return e, err
	}
	b.take(b.k.Best)
	amps := func(level float64) float64 { return b.mix.Limiter(b.of, level) }
	e.Limiter = interval.New(amps(e.Highest.Value), amps(e.Highest.Low), amps(e.Highest.High))
	if e.Rating.Dark() { // the idle current alone breaks a limit
		e.Limiter.Value, e.Limiter.Low = 0, 0
		if e.Highest.High == 0 {
			e.Limiter.High = 0
		}
	}
	if b.edit == nil {
		b.k.asSeen(&e)
	}
	e.LoadVerdict = b.verdict(e)
	e.Verdict = e.LoadVerdict
	if e.Remaining = b.k.remaining(b.edit); len(e.Remaining) > 0 {
		e.Verdict = assessment.Fail
	}
	return e, nil
}

// extremes extends the intervals of the light to its values at both ends of the interval of the
// least volts, for every shape of a channel's fall below its knee. Single directions may not reach
// a knee that all of them together reach. at is the highest level as nearby finds it.
func (b *bench) extremes(e *Effect, tilt []float64, at float64) error {
	length := 0.0
	for _, t := range tilt {
		length += t * t
	}
	if length == 0 || b.k.StateAt == nil {
		return nil
	}
	deviations := make([]float64, len(tilt))
	for _, sign := range [2]float64{1, -1} {
		for j, t := range tilt {
			deviations[j] = sign * verdict.Coverage95 * t / math.Sqrt(length)
		}
		a := b.k.StateAt(deviations)
		for _, state := range [2]estimate.FittedState{a, b.k.straight(a)} {
			b.take(state)
			s, err := b.circuit.Solve(e.Level)
			if err != nil {
				return err
			}
			f := figuresOf(s)
			e.Shift, e.Dimming, e.Utilisation = e.Shift.Including(f.shift), e.Dimming.Including(f.lost), e.Utilisation.Including(f.use)
			e.LeastVolts = e.LeastVolts.Including(f.volts)
		}
	}
	b.take(b.k.straight(b.k.Best))
	level, err := b.nearby(e.Rating)
	if by := level - at; by < 0 {
		e.Highest.Low += by
	} else {
		e.Highest.High += by
	}
	e.Highest = e.Highest.Clamp(0, 1)
	return err
}

// verdict compares the design load with every limit, by the part of it that is used and by the
// highest level. Both must pass: another limit may be exceeded at a lower level, and a limit just
// beyond a kink may show in only one of the two.
func (b *bench) verdict(e Effect) assessment.Verdict {
	needs := e.Level * (1 - 2*loadlimit.Precision)
	switch {
	case b.k.Unexplained:
		return assessment.Unproven
	case e.Utilisation.Low > 1 || e.Highest.High < needs:
		return assessment.Fail
	case e.Utilisation.High <= 1 && e.Highest.Low >= needs:
		return assessment.Pass
	}
	return assessment.Unproven
}

// figures returns the quantities of a fitted state near the best one.
func (b *bench) figures(a estimate.FittedState, level float64, best *loadlimit.Rating) (figures, error) {
	b.take(a)
	s, err := b.circuit.Solve(level)
	if err != nil {
		return figures{}, err
	}
	f := figuresOf(s)
	f.level, err = b.nearby(best)
	return f, err
}
