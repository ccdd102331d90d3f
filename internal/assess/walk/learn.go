package walk

import (
	"math"
	"slices"
	"time"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
)

// Knowledge is what the readings of a walk tell, up to one of its events.
type Knowledge struct {
	Verdict  assessment.Verdict
	Doubtful bool   // the readings contradict the run file
	Doubt    string // why, in words; "" = not doubtful
	Elements []assessment.Element
	Warnings []string // mistakes that several readings seem to have in common, in words

	begun         time.Time // of the walk
	number, taken int       // of the last event, and how many readings of the walk, that it includes
	expected      map[key]nextreading.Expectation
	rest          []assessment.Next // still worth reading
	suspects      []suspect
}

// suspect is a reading of the walk that contradicts the others.
type suspect struct {
	next  assessment.Next
	doubt Doubt
	reads int // how often it had been read
}

// Known returns what was learned; nil = nothing yet.
func (w Walk) Known() *Knowledge { return w.known }

// Number returns the number of the last event that the knowledge includes.
func (k *Knowledge) Number() int { return k.number }

// Stale reports whether readings were taken, undone or put back since the walk has learned.
func (w Walk) Stale() bool { return w.known == nil || w.known.number < w.state.changed }

// With returns the walk with what Learn has found, unless it knows more already or Learn was of another walk.
func (w Walk) With(k *Knowledge) Walk {
	if k.begun.Equal(w.begun()) && (w.known == nil || k.number >= w.known.number) {
		w.known = k
	}
	return w
}

// begun returns when the walk began; zero = it has not.
func (w Walk) begun() time.Time {
	if len(w.events) == 0 {
		return time.Time{}
	}
	return w.events[0].Time
}

// Learn fits the run to the readings and judges it. It takes from some milliseconds to some seconds.
// The errors are those of solving the run.
func (w Walk) Learn() (*Knowledge, error) {
	readings := w.Readings()
	est, err := estimate.Make(w.run, readings)
	if err != nil {
		return nil, err
	}
	verdicts, targets, err := judge.Verdicts(w.run, est)
	if err != nil {
		return nil, err
	}
	k := &Knowledge{Verdict: verdicts.Verdict, Doubtful: verdicts.Doubtful, Doubt: verdicts.Doubt, Elements: verdicts.Elements,
		begun: w.begun(), number: w.Number(), taken: len(w.state.inForce), expected: map[key]nextreading.Expectation{}}
	for _, f := range verdicts.Findings {
		k.Warnings = append(k.Warnings, f.Text)
	}
	k.suspects = w.suspects(verdicts.Readings)
	outlook, err := nextreading.NewOutlook(est, w.meters())
	if err != nil {
		return nil, err
	}
	candidates := outlook.Candidates()
	for _, e := range outlook.Expectations(candidates) {
		if was, seen := k.expected[keyOf(e.Next)]; !seen || e.Deviation < was.Deviation {
			k.expected[keyOf(e.Next)] = e
		}
	}
	k.rest = w.planned()
	if !w.options.All && !verdicts.Doubtful {
		k.rest = needed(outlook, candidates, targets, k.rest)
		if len(k.rest) == 0 {
			k.rest = w.open(nextreading.Next(est, targets, mostProposals))
		}
	}
	return k, nil
}

// mostProposals is how many readings are proposed at once when the plan is read.
const mostProposals = 6

// meters returns the meters of the plan by their index in the run.
func (w Walk) meters() []int {
	var list []int
	for _, name := range w.plan.Meters {
		list = append(list, w.run.MeterIndex(name))
	}
	return list
}

// suspects returns the readings of this walk that contradict the others.
func (w Walk) suspects(judged []assessment.Reading) (list []suspect) {
	for _, x := range judged {
		if !x.Suspect || x.Used || math.IsNaN(x.Predicted) {
			continue
		}
		mine := func(e Event) bool { return e.Kind == Read && !e.Fixed && e.key() == ReadingEvent(x.Reading).key() }
		if !slices.ContainsFunc(w.state.inForce, mine) {
			continue
		}
		reads := 0
		for _, e := range w.state.done {
			if mine(e) {
				reads++
			}
		}
		deviation := math.Abs(x.Residual / x.Standardised)
		if x.Standardised == 0 {
			deviation = math.Inf(1)
		}
		list = append(list, suspect{next(ReadingEvent(x.Reading)), *w.newDoubt(x.Reading, x.Predicted, deviation, x.Note), reads})
	}
	return list
}

// predictions returns what is expected everywhere, in the form of LikelyMistake.
func (k *Knowledge) predictions() []assessment.Reading {
	list := make([]assessment.Reading, 0, len(k.expected))
	for _, e := range k.expected {
		list = append(list, assessment.Reading{Reading: reading.Reading{Step: e.Step, Quantity: e.Quantity, From: e.From, To: e.To}, Predicted: e.Value})
	}
	slices.SortFunc(list, func(a, b assessment.Reading) int { // maps have no order, and of equals the first one is named
		return slices.Compare([]string{a.Step, a.From, a.To}, []string{b.Step, b.From, b.To})
	})
	return list
}

// Unknown returns the knowledge of a walk whose run cannot be fitted: nothing is known, and the plan
// is read as it is.
func (w Walk) Unknown() *Knowledge {
	return &Knowledge{Verdict: assessment.Unproven, Doubtful: true, begun: w.begun(), number: w.Number(), taken: len(w.state.inForce), rest: w.planned()}
}
