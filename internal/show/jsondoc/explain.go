package jsondoc

import (
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// ExplanationDoc holds the readings that the verdict on an element depends on.
type ExplanationDoc struct {
	Kind        run.Kind    `json:"kind"`
	Name        string      `json:"name"`
	Rail        run.Rail    `json:"rail"`
	Why         string      `json:"why,omitempty"`
	Advice      string      `json:"advice,omitempty"`
	Parts       []PartDoc   `json:"parts"`
	Single      *PartDoc    `json:"single,omitempty"`
	Uncertainty []SourceDoc `json:"uncertainty"`
}

// PartDoc is a group of readings, and the estimate of the element without them.
type PartDoc struct {
	Readings                 string             `json:"readings"`
	Step                     string             `json:"step"`
	Rows                     []int              `json:"rows"`
	Share                    Number             `json:"share"`
	KnownWithout             bool               `json:"known_without"`
	MilliohmsWithout         *Number            `json:"milliohms_without,omitempty"`
	MilliohmsPerMetreWithout *Number            `json:"milliohms_per_metre_without,omitempty"`
	LowWithout               Number             `json:"low_without"`
	HighWithout              Number             `json:"high_without"`
	VerdictWithout           assessment.Verdict `json:"verdict_without,omitempty"`
}

// SourceDoc is a part of an element's uncertainty.
type SourceDoc struct {
	From  string `json:"from"`
	Share Number `json:"share"`
}

func explanationDoc(x *assessment.Explanation) *ExplanationDoc {
	part := func(p assessment.Part) PartDoc {
		ohms := milli(p.Ohms)
		d := PartDoc{Readings: p.What, Step: p.Step, Rows: append([]int{}, p.Rows...), Share: Number(p.Share), KnownWithout: p.Known,
			LowWithout: milli(p.Low), HighWithout: milli(p.High), VerdictWithout: p.Verdict}
		if x.Element.Kind == run.KindReel {
			d.MilliohmsPerMetreWithout = &ohms
		} else {
			d.MilliohmsWithout = &ohms
		}
		return d
	}
	d := &ExplanationDoc{Kind: x.Element.Kind, Name: x.Element.Name, Rail: x.Element.Rail, Why: x.Why, Advice: x.Advice,
		Parts: list(x.Parts, part), Uncertainty: list(x.Sources, func(s assessment.Source) SourceDoc { return SourceDoc{s.What, Number(s.Share)} })}
	if x.Single != nil {
		single := part(*x.Single)
		d.Single = &single
	}
	return d
}
