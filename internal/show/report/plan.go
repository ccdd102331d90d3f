package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/text/printable"
)

// planOrder is what a plan takes for granted of the one who walks it.
const planOrder = "Each step is set once and the run walked along once in it: to change a step is taken to be the slower part."

// PlanTable writes a plan as plain text of at most 80 columns: what to read in walking
// order, then what that settles. The error is the writer's.
func PlanTable(w io.Writer, p *plan.Plan, colour bool) error {
	t := table{w: bufio.NewWriter(w), colour: colour}
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
	t.wrapped("", fmt.Sprintf("%s, %s, %s: settle %d of %d joints and feeds", counted(p.Readings, "reading"), counted(p.Points, "point"),
		counted(len(p.Rounds), "step"), settled, all), 0, verdict)
	t.wrapped("", "Run: "+printable.Short(nameOf(p.Run), 120)+", read with "+few(p.Meters), 0, assessment.None)
	if p.Readings > 0 {
		t.wrapped("", planOrder, 0, assessment.None)
	}
	n := 0
	for _, round := range p.Rounds {
		t.heading(`Set step "` + printable.Short(round.Step, 40) + `", then read`)
		for _, x := range round.Reads {
			n++
			text := between(x.Quantity, x.From, x.To)
			if len(p.Meters) > 1 {
				text += " with meter " + printable.Short(x.Meter, 40)
			}
			t.wrapped(fmt.Sprint(n), text, wordWidth, assessment.None)
		}
	}
	t.planned(p.Elements)
	if settled > 0 {
		fmt.Fprintln(t.w)
		t.wrapped("", "Settled means: pass or fail in nine of ten cases and more, unless something is near its limit. With so few readings nothing checks a wrong one: whatever surprises, read again.", 0, assessment.None)
	}
	return t.w.Flush()
}

// planned writes what becomes of each joint and feed, and below them why not.
func (t table) planned(elements []plan.Element) {
	if len(elements) == 0 {
		return
	}
	fmt.Fprintf(t.w, "\n%s%s%10s  %10s  %10s\n", left("", wordWidth), left("", nameWidth), "resolves", "best", "limit, mΩ")
	for _, e := range elements {
		word, verdict := "settles", assessment.Pass
		if !e.Settled {
			word, verdict = "open", assessment.Unproven
		}
		limit := "-"
		if !math.IsNaN(e.Limit) {
			limit = chart.Milliohms(e.Limit)
		}
		fmt.Fprintf(t.w, "%s%s%s%s  %s  %s\n", t.paint(word, verdict), strings.Repeat(" ", wordWidth-len(word)),
			left(string(e.Kind)+" "+e.Name, nameWidth-1)+" ", right(resolves(e.HalfWidth), 10), right(resolves(e.BestHalfWidth), 10), right(limit, 10))
	}
	for _, e := range elements {
		if e.Settled {
			continue
		}
		help := "None of the finer meters and brighter steps that were tried would settle it."
		if len(e.Remedies) > 0 {
			help = "What would: " + strings.Join(e.Remedies, "; or ") + "."
		}
		fmt.Fprintln(t.w)
		t.wrapped("", string(e.Kind)+" "+printable.Short(e.Name, 60)+" stays open: "+e.Why+". "+help, 0, assessment.None)
	}
}

func resolves(ohms float64) string {
	if math.IsInf(ohms, 1) || ohms > 10 {
		return "-"
	}
	return "±" + chart.Milliohms(ohms)
}

func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// PlanJSON writes a plan as one JSON object on one line. The error is the writer's.
func PlanJSON(w io.Writer, p *plan.Plan) error {
	text := func(s string) any { return s }
	return write(w, "plan", object{
		{"schema", schema}, {"run", nameOf(p.Run)}, {"meters", list(p.Meters, text)}, {"order", planOrder},
		{"steps", len(p.Rounds)}, {"points", p.Points}, {"readings", p.Readings},
		{"rounds", list(p.Rounds, func(r plan.Round) any {
			return object{{"step", r.Step}, {"read", list(r.Reads, func(n assessment.Next) any {
				return object{{"quantity", n.Quantity.String()}, {"from", n.From}, {"to", n.To}, {"meter", n.Meter}}
			})}}
		})},
		{"elements", list(p.Elements, func(e plan.Element) any {
			o := object{{"kind", e.Kind}, {"name", e.Name}, {"limit_milliohms", milli(e.Limit)}, {"stated_milliohms", milli(e.Stated)},
				{"amps", number(e.Amps)}, {"settled", e.Settled}, {"resolves_milliohms", milli(e.HalfWidth)}, {"best_milliohms", milli(e.BestHalfWidth)}}
			if !e.Settled {
				o = append(o, member{"why", e.Why}, member{"helps", list(e.Remedies, text)})
			}
			return o
		})},
	})
}
