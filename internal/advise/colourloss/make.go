package colourloss

import (
	"errors"
	"fmt"
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/light"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// ErrDark is the error of a step that lights no channel.
var ErrDark = errors.New("lights no channel: there is no colour to judge")

// maker holds a run in one step while its appearance is made.
type maker struct {
	run      *run.Run
	index    int // of the step
	step     run.Step
	fitted   *estimate.Estimate // nil: as stated
	real     ladder.Parameters
	adjust   pixel.Adjust
	loads    []pixel.Load
	emitters []light.Emitter
	straight float64 // V, shift of the knees if channels fall below them in a straight line; 0 as stated
	out      *Appearance
}

// Make computes the appearance of a run in a step, by its index in the run, as fitted by e, or as
// stated if e is nil. at is the pixel to examine; nil is the worst one. It returns an error if the
// step is dark, no supply reaches a part of the run, or the network cannot be solved.
func Make(r *run.Run, step int, e *estimate.Estimate, at *run.Place) (*Appearance, error) {
	m, err := look(r, step, e)
	if err != nil {
		return nil, err
	}
	worst := m.worst()
	if err := m.explain(worst, at == nil || *at == worst); err != nil {
		return nil, fmt.Errorf("step %q: %w", m.step.Name, err)
	}
	m.judge() // the run, not the chosen pixel
	if at != nil && *at != worst {
		if err := m.explain(*at, true); err != nil {
			return nil, fmt.Errorf("step %q: %w", m.step.Name, err)
		}
	}
	m.out.Asked = at != nil
	m.warn()
	return m.out, nil
}

// Worst returns the worst pixel as Make does, without the causes. The errors are those of Make.
func Worst(r *run.Run, step int, e *estimate.Estimate) (Spot, error) {
	m, err := look(r, step, e)
	if err != nil {
		return Spot{}, err
	}
	if err := m.explain(m.worst(), false); err != nil {
		return Spot{}, fmt.Errorf("step %q: %w", m.step.Name, err)
	}
	return m.out.Worst, nil
}

// look returns a run solved in a step, with the light of every pixel.
func look(r *run.Run, step int, e *estimate.Estimate) (*maker, error) {
	m := &maker{run: r, index: step, step: r.Steps[step], fitted: e, real: ladder.Stated(r), adjust: pixel.AsStated}
	if e != nil {
		state := e.FittedState(step)
		m.real, m.adjust = state.Parameters, state.Adjust
	}
	m.loads = ladder.Loads(r, m.step, m.adjust)
	m.emitters = light.Emitters(r, m.step, m.adjust)
	m.out = &Appearance{Run: r, Step: m.step, Fitted: e != nil}
	if m.dark() {
		return nil, fmt.Errorf("step %q %w", m.step.Name, ErrDark)
	}
	if err := m.see(); err != nil {
		return nil, fmt.Errorf("step %q: %w", m.step.Name, err)
	}
	m.findPlaces()
	return m, nil
}

func (m *maker) dark() bool {
	for i := range m.emitters {
		if !m.emitters[i].Dark() {
			return false
		}
	}
	return true
}

// see solves the run and sets the light of every pixel.
func (m *maker) see() error {
	net, err := ladder.New(m.run, m.real.DrainPlaces()...)
	if err != nil {
		return err
	}
	solver := net.NewSolver()
	if err := solver.Solve(&m.real, m.loads); err != nil {
		return ladder.Explain(m.run, err)
	}
	m.warnRunaways(solver)
	if m.fitted != nil {
		m.straight = solver.StraightShift(m.step, m.adjust)
	}
	for i, reel := range m.run.Reels {
		plus, minus := make([]float64, reel.Pixels), make([]float64, reel.Pixels)
		solver.Reel(i, plus, minus, nil)
		seen := Reel{Name: reel.Name, Full: m.emitters[i].Full(), Pixels: make([]Pixel, reel.Pixels)}
		for k := range seen.Pixels {
			v := plus[k] - minus[k]
			seen.Pixels[k] = Pixel{Volts: v, Output: m.emitters[i].Output(v)}
		}
		m.out.Reels = append(m.out.Reels, seen)
	}
	return nil
}

// used returns how much of the limits of colour and brightness a pixel uses.
func (m *maker) used(reel, pixel int, p Pixel) (colour, dim limits.Utilisation) {
	return limits.OfColour(m.run, reel, pixel, p.Shift), limits.OfBrightness(m.run, reel, pixel, p.Dimming())
}

// findPlaces sets the stretches beyond a limit and which limits they exceed.
func (m *maker) findPlaces() {
	anyColour, anyDim := false, false
	for i, reel := range m.out.Reels {
		var open *Stretch
		for k, p := range reel.Pixels {
			shift, lost := m.used(i, k+1, p)
			colour, dim := !shift.Holds(), !lost.Holds()
			anyColour, anyDim = anyColour || colour, anyDim || dim
			if open != nil && (open.Colour != colour || open.Dim != dim) {
				open = nil
			}
			if !colour && !dim {
				continue
			}
			if open == nil {
				m.out.Stretches = append(m.out.Stretches, Stretch{Reel: reel.Name, From: k + 1, Colour: colour, Dim: dim})
				open = &m.out.Stretches[len(m.out.Stretches)-1]
			}
			open.To = k + 1
			open.Shift = math.Max(open.Shift, p.Shift)
			open.Dimmed = math.Max(open.Dimmed, p.Dimming())
		}
	}
	switch {
	case anyColour && anyDim:
		m.out.Change = Both
	case anyColour:
		m.out.Change = ColourOnly
	case anyDim:
		m.out.Change = DimmerOnly
	}
}

// worst returns the pixel that uses most of a limit. Where none uses any, it returns the one with the
// lowest volts relative to its rated volts.
func (m *maker) worst() run.Place {
	worst := run.Place{Kind: run.AtReel, Pixel: 1}
	most, least := -1.0, math.Inf(1)
	for i, reel := range m.out.Reels {
		for k, p := range reel.Pixels {
			colour, dim := m.used(i, k+1, p)
			used := math.Max(colour.Ratio(), dim.Ratio())
			volts := p.Volts / m.run.Reels[i].Strip.Volts
			if used > most+1e-9 || used > most-1e-9 && volts < least-1e-12 {
				most, least = math.Max(most, used), volts
				worst.Index, worst.Pixel = i, k+1
			}
		}
	}
	return worst
}

// judge compares the worst spot's intervals with the limits.
func (m *maker) judge() {
	w := m.out.Worst
	holds := func(shift, lost float64) bool {
		return limits.OfColour(m.run, w.Place.Index, w.Place.Pixel, shift).Holds() && limits.OfBrightness(m.run, w.Place.Index, w.Place.Pixel, lost).Holds()
	}
	switch {
	case !holds(w.Shift.Low, w.Dimming.Low):
		m.out.Verdict = assessment.Fail
	case !holds(w.Shift.High, w.Dimming.High):
		m.out.Verdict = assessment.Unproven
	default:
		m.out.Verdict = assessment.Pass
	}
}
