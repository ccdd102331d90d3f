package table

import (
	"fmt"
	"io"
	"math"
	"strings"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Plan writes a plan: what to read in walking order, then what that settles. The error is the
// writer's.
func Plan(w io.Writer, p *plan.Plan, style Style) error {
	t := newTable(w, style)
	settled, all := 0, len(p.Elements)
	for _, e := range p.Elements {
		if e.Settled {
			settled++
		}
	}
	verdict := assessment.Pass
	if settled < all {
		verdict = assessment.Unproven
	}
	t.wrapped("", fmt.Sprintf("%s, %s, %s: enough to decide %d of %d joints and feeds", number.Count(p.Readings, "reading"), number.Count(p.Points, "point"),
		number.Count(len(p.Rounds), "step"), settled, all), 0, verdict)
	t.wrapped("", "Run: "+printable.Short(wording.RunName(p.Run), 120)+", read with "+wording.Few(p.Meters), 0, assessment.None)
	for _, warning := range p.Warnings {
		t.wrapped("warning", warning, wordWidth, assessment.None)
	}
	if p.Readings > 0 {
		t.wrapped("", wording.PlanOrder, 0, assessment.None)
	}
	n := 0
	for _, round := range p.Rounds {
		t.heading(`Set step "` + printable.Short(round.Step, 40) + `", then read`)
		for _, x := range round.Reads {
			n++
			text := wording.Between(x.Quantity, x.From, x.To) + wording.WithLead(x)
			if len(p.Meters) > 1 {
				text += " with meter " + printable.Short(x.Meter, 40)
			}
			t.wrapped(fmt.Sprint(n), text, wordWidth, assessment.None)
		}
	}
	t.planned(p.Elements)
	if settled > 0 {
		fmt.Fprintln(t.w)
		t.wrapped("", "Decided means: pass or fail in at least nine of ten cases, unless something is near its limit. With so few readings a wrong one does not show: read again what surprises you.", 0, assessment.None)
	}
	return t.w.Flush()
}

// planned writes the expected result for each joint and feed, and why some stay unproven.
func (t table) planned(elements []plan.Element) {
	var rows []row
	for _, e := range elements {
		word, verdict := "decided", assessment.Pass
		if !e.Settled {
			word, verdict = "unproven", assessment.Unproven
		}
		limit := "–"
		if !math.IsNaN(e.Limit) {
			limit = number.Milliohms(e.Limit)
		}
		rows = append(rows, row{word, verdict, string(e.Kind) + " " + e.Name, []string{within95(e.HalfWidth), within95(e.BestHalfWidth), limit}, nil})
	}
	t.blank()
	t.grid("", []string{"to within, mΩ", "at best, mΩ", "limit, mΩ"}, rows)
	if len(rows) > 0 {
		t.wrapped("", "(to within: half the 95 % interval after these readings; at best: after every reading that the meters can take)", wordWidth, assessment.None)
	}
	for _, e := range elements {
		if e.Settled {
			continue
		}
		help := "None of the finer meters and brighter steps that were tried would decide it."
		if len(e.Remedies) > 0 {
			help = "What would decide it: " + strings.Join(e.Remedies, "; or ") + "."
		}
		fmt.Fprintln(t.w)
		t.wrapped("", string(e.Kind)+" "+printable.Short(e.Name, 60)+" stays unproven: "+e.Why+". "+help, 0, assessment.None)
	}
}

// within95 writes half the width of a 95 % interval.
func within95(ohms float64) string {
	if math.IsInf(ohms, 1) || ohms > 10 {
		return "–"
	}
	return "±" + number.Milliohms(ohms)
}
