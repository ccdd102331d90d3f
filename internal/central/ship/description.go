package ship

import (
	"math"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
)

// Description is what is sent of a run beside its readings and marks.
type Description struct {
	File      string // text of the run file
	Place     string // where the run is
	Installer string
	Verdicts  []Verdict
	Taken     time.Time // when the verdicts were found
}

// Names returns the verdicts that a source finds.
func Names(source string) (all []string) {
	if source == firm.Assess {
		return []string{string(assessment.Fail), string(assessment.Unproven), string(assessment.Pass)}
	}
	for _, v := range history.Verdicts {
		all = append(all, string(v))
	}
	return all
}

// Verdict is what is known of an element. Resistances are at 20 °C; reels' are per metre if the
// source is firm.Assess. Numbers that are not known are NaN, times zero.
type Verdict struct {
	Source                           string
	Kind                             run.Kind
	Name                             string
	Rail                             run.Rail
	Made                             string // a joint's type, a reel's batch, a feed's conductor
	Verdict                          string
	Fails                            bool
	Ohms, Low, High, Limit           float64 // Ω
	PerYear, PerYearLow, PerYearHigh float64 // Ω per year, 95 % interval
	Since, Reaches                   time.Time
}

// OfHistory returns the verdicts of an analysis for drift. fails reports whether a series needs
// attention.
func OfHistory(h *history.History, fails func(history.Series) bool) []Verdict {
	var all []Verdict
	for _, s := range h.Series {
		v := Verdict{Source: firm.Drift, Kind: s.Kind, Name: s.Name, Rail: s.Rail, Made: made(h.Run, s.Kind, s.Name), Verdict: string(s.Verdict), Fails: fails(s),
			Ohms: s.Ohms, Low: s.Low, High: s.High, Limit: s.Limit, PerYear: s.PerYear, PerYearLow: s.PerYearLow, PerYearHigh: s.PerYearHigh,
			Reaches: s.Reaches.Likely}
		if n := len(s.Changes); n > 0 {
			v.Since = s.Changes[n-1].Time
		}
		all = append(all, v)
	}
	return all
}

// OfAssessment returns the verdicts of an assessment. Elements without a limit have none.
func OfAssessment(a *assessment.Assessment) []Verdict {
	var all []Verdict
	nan := math.NaN()
	for _, e := range a.Elements {
		if e.Verdict == assessment.None {
			continue
		}
		all = append(all, Verdict{Source: firm.Assess, Kind: e.Kind, Name: e.Name, Rail: e.Rail, Made: made(a.Run, e.Kind, e.Name), Verdict: string(e.Verdict),
			Fails: e.Verdict == assessment.Fail, Ohms: e.Ohms, Low: e.Low, High: e.High, Limit: e.Limit,
			PerYear: nan, PerYearLow: nan, PerYearHigh: nan})
	}
	return all
}

// made returns of what type, batch or conductor an element is; "" = the run file does not say.
func made(r *run.Run, kind run.Kind, name string) string {
	switch kind {
	case run.KindJoint:
		for _, j := range r.Joints {
			if j.Name == name {
				return j.Type
			}
		}
	case run.KindReel:
		for _, x := range r.Reels {
			if x.Name == name {
				return x.Strip.Batch
			}
		}
	case run.KindFeed:
		for _, f := range r.Feeds {
			if f.Name == name {
				return f.Conductor
			}
		}
	}
	return ""
}
