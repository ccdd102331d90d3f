package table

import (
	"fmt"
	"io"

	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Repair writes a plan of repairs: the run as wired, every repair with its effect, the best pair, and
// the cautions of the proposals. The error is the writer's.
func Repair(w io.Writer, p *repair.Plan, style Style) error {
	t := newTable(w, style)
	head, verdict := planHead(p)
	t.wrapped("", head, 0, verdict)
	t.wrapped("", "Run: "+printable.Short(wording.RunName(p.Basis.Run), 120)+known(p.Basis), 0, assessment.None)
	t.asWired(p.AsWired)
	if len(p.Options) == 0 {
		t.wrapped("", "There is nothing that would help: no joint or feed fails, and no end is without a feed.", 0, assessment.None)
	} else {
		t.heading("Repairs alone and the best two together; what meets every limit comes first")
		t.options(p.Ranked())
	}
	t.remarks("Assumed", append(append([]string{}, p.Assumed...), wording.EvenLight,
		"Cost counts labour and material in points, to rank by; it is not money."))
	t.remarks("Cautions", warnings(p))
	return t.w.Flush()
}

func known(k repair.Basis) string {
	if k.FromReadings {
		return ", by its readings; in brackets 95 % intervals"
	}
	return ", as its file states"
}

func planHead(p *repair.Plan) (string, assessment.Verdict) {
	worst := p.AsWired.State.Worst()
	what := fmt.Sprintf("step %q", printable.Short(p.Step, 40))
	if len(p.AsWired.Remaining) > 0 && p.AsWired.LoadVerdict != assessment.Fail {
		return "FAIL: " + wording.Remaining(p.AsWired) + "; the load of " + what + " breaks no other limit for sure", assessment.Fail
	}
	switch p.AsWired.Verdict {
	case assessment.Pass:
		return "PASS: " + what + " keeps every limit as wired", assessment.Pass
	case assessment.Fail:
		if worst.Holds() {
			worst = p.AsWired.Rating.Binding
		}
		return "FAIL: " + what + " breaks a limit as wired: " + wording.Utilisation(worst), assessment.Fail
	}
	if p.Basis.Unexplained {
		return "UNPROVEN: the readings contradict the run file", assessment.Unproven
	}
	return "UNPROVEN: not enough readings to decide whether " + what + " keeps every limit; nearest is " + wording.Utilisation(worst), assessment.Unproven
}

const asWiredWidth = 23 // the longest name of a figure, and the gap behind it

// asWired writes the state of the run as wired.
func (t table) asWired(e repair.Effect) {
	t.heading("As wired")
	row := func(name, value string) { t.wrapped(name, value, asWiredWidth, assessment.None) }
	row("colour, worst pixel", "off by "+wording.Span(e.Shift, 4)+" (CIE 1976 u'v')")
	row("light missing", wording.PercentSpan(e.Dimming)+" at the dimmest pixel")
	row("lowest volts", fmt.Sprintf("%s V, %s pixel %d", wording.Span(e.LeastVolts, 2), printable.Short(e.State.Reel, 24), e.State.Pixel))
	row("hottest joint", wording.Span(e.JointWatts, 3)+" W")
	row("highest safe limiter", wording.Span(e.Limiter, 2)+" A")
	row("limit reached then", wording.Binding(e))
}

// options writes for each option a line of numbers, and below it the repair.
func (t table) options(options []repair.Option) {
	var rows []row
	for _, o := range options {
		e := o.Effect
		limiter := number.Fixed(e.Limiter.Value, 2)
		if e.Limiter.Low != e.Limiter.High {
			limiter += fmt.Sprintf(" (%s–%s)", number.Fixed(e.Limiter.Low, 2), number.Fixed(e.Limiter.High, 2))
		}
		rows = append(rows, row{verdictWord(e.Verdict), e.Verdict, "cost " + number.Fixed(o.Cost(), 1), []string{number.Fixed(e.Shift.Value, 4),
			number.Fixed(e.LeastVolts.Value, 2), number.Fixed(e.JointWatts.Value, 3), limiter}, []string{optionText(o)}})
	}
	t.grid("", []string{"colour off", "lowest V", "joint W", "safe limiter, A"}, rows)
}

// optionText returns the repairs of an option and the limit that they leave broken.
func optionText(o repair.Option) string {
	e := o.Effect
	text := ""
	if len(o.Repairs) > 1 {
		text = "together: "
	}
	for i, r := range o.Repairs {
		if i > 0 {
			text += "; "
		}
		text += printable.Line(r.Text)
	}
	join := ": "
	if len(e.Remaining) > 0 {
		text += join + "leaves " + wording.Remaining(e)
		join = ", and "
	}
	if e.LoadVerdict != assessment.Pass {
		worst := e.State.Worst()
		if worst.Holds() && e.Rating.Binding.Subject != "" {
			worst = e.Rating.Binding
		}
		text += join + map[assessment.Verdict]string{assessment.Fail: "breaks ", assessment.Unproven: "perhaps breaks "}[e.LoadVerdict] + wording.Utilisation(worst)
	}
	return text
}

// warnings returns the cautions of all proposals, each once.
func warnings(p *repair.Plan) []string {
	var all []string
	seen := map[string]bool{}
	add := func(o repair.Option) {
		for _, r := range o.Repairs {
			for _, c := range r.Cautions {
				if !seen[c] {
					seen[c] = true
					all = append(all, c)
				}
			}
		}
	}
	// Those of what is likely to be done: the first few, and the pair.
	for i, o := range p.Options {
		if i < 3 || o.Effect.Verdict == assessment.Pass && i < 8 {
			add(o)
		}
	}
	if p.Pair != nil {
		add(*p.Pair)
	}
	for i, o := range p.Options {
		if i >= 3 && o.Repairs[0].Kind == repair.NewSupply {
			add(o)
			break
		}
	}
	return append(all, "Mains terminals are the work of licensed people; respect the ratings of cables and connectors; local codes decide.")
}
