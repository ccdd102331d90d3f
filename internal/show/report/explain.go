package report

import (
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// explanationJSON is the key "explanation" of an assessment.
func explanationJSON(x *assessment.Explanation) any {
	unit := "milliohms"
	if x.Element.Kind == run.KindReel {
		unit = "milliohms_per_metre"
	}
	part := func(p assessment.Part) any {
		o := object{{"readings", p.What}, {"step", p.Step}, {"rows", list(p.Rows, func(r int) any { return r })}, {"share", number(p.Share)},
			{"known_without", p.Known}, {unit + "_without", milli(p.Ohms)}, {"low_without", milli(p.Low)}, {"high_without", milli(p.High)}}
		if p.Verdict != assessment.None {
			o = append(o, member{"verdict_without", p.Verdict})
		}
		return o
	}
	o := object{{"kind", x.Element.Kind}, {"name", x.Element.Name}, {"rail", x.Element.Rail}}
	if x.Why != "" {
		o = append(o, member{"why", x.Why})
	}
	if x.Advice != "" {
		o = append(o, member{"advice", x.Advice})
	}
	o = append(o, member{"parts", list(x.Parts, part)})
	if x.Single != nil {
		o = append(o, member{"single", part(*x.Single)})
	}
	return append(o, member{"uncertainty", list(x.Sources, func(s assessment.Source) any {
		return object{{"from", s.What}, {"share", number(s.Share)}}
	})})
}
