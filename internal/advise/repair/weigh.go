package repair

import (
	"errors"
	"slices"

	"ohmkeep/internal/advise/loadlimit"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// ErrDark reports that a step lights no channel, so that it has no colour to keep.
var ErrDark = errors.New("lights no channel, so it has no colour to keep")

// Make evaluates every repair at a step of the run. The errors are ErrDark and those of solving the
// run as wired. A repair that cannot be solved is left out.
func Make(k Basis, step run.Step, o Options) (*Plan, error) {
	mix, level := loadlimit.MixOf(step)
	if level == 0 {
		return nil, ErrDark
	}
	p := &Plan{Basis: k, Mix: mix, Step: step.Name, Level: level}
	b, err := newBench(k, nil, mix, o.Limits)
	if err != nil {
		return nil, err
	}
	if p.AsWired, err = b.effect(level); err != nil {
		return nil, err
	}
	var repairs []Repair
	repairs, p.Assumed = propose(k, step, o)
	for _, r := range repairs {
		if e, ok := tried(k, &r.edit, mix, level, o); ok {
			p.Options = append(p.Options, Option{[]Repair{r}, e})
		}
	}
	p.pair(k, o)
	if err := p.lower(b); err != nil {
		return nil, err
	}
	slices.SortStableFunc(p.Options, better)
	return p, nil
}

func tried(k Basis, e *edit, mix loadlimit.Mix, level float64, o Options) (Effect, bool) {
	b, err := newBench(k, e, mix, o.Limits)
	if err != nil {
		return Effect{}, false
	}
	effect, err := b.effect(level)
	return effect, err == nil
}

// lower proposes the current limiter where the run fails as wired: at the level that is safe for
// every resistance within the intervals.
func (p *Plan) lower(b *bench) error {
	to := p.AsWired.Highest.Low
	if p.AsWired.LoadVerdict == assessment.Pass || to <= 0 || to >= p.Level {
		return nil
	}
	e, err := b.effect(to)
	for n := 0; err == nil && e.LoadVerdict != assessment.Pass && n < 10; n++ {
		to *= 0.98 // a curved dependence may need a little less than the interval's end
		e, err = b.effect(to)
	}
	if err != nil {
		return err
	}
	p.Options = append(p.Options, Option{[]Repair{{Kind: Lower, Labour: setting,
		Text: lowerText(p, to)}}, e})
	return nil
}

// rank orders verdicts: pass first.
var rank = map[assessment.Verdict]int{assessment.Pass: 0, assessment.Unproven: 1, assessment.Fail: 2}

// better sorts options: first those that meet the limits, by cost; then those that leave fewer
// joints and feeds above their limits, then those with the higher level.
func better(a, b Option) int {
	if a, b := rank[a.Effect.Verdict], rank[b.Effect.Verdict]; a != b {
		return a - b
	}
	if a, b := len(a.Effect.Remaining), len(b.Effect.Remaining); a != b {
		return a - b
	}
	if a.Effect.Verdict != assessment.Fail {
		if by := compare(a.Cost(), b.Cost()); by != 0 {
			return by
		}
	}
	return compare(b.Effect.Limiter.Value, a.Effect.Limiter.Value)
}

func compare(a, b float64) int {
	switch {
	case a < b-1e-9:
		return -1
	case a > b+1e-9:
		return 1
	}
	return 0
}
