package table

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Explanation writes the verdict on an element, the readings that it depends on, and the sources of
// its uncertainty. The error is the writer's.
func Explanation(w io.Writer, x *assessment.Explanation, fit assessment.Fit, style Style) error {
	t := newTable(w, style)
	e := x.Element
	l := wording.LineOf(e)
	text := wording.Label(e) + ": "
	if e.Verdict != assessment.None {
		text += strings.ToUpper(string(e.Verdict)) + ", "
	}
	switch {
	case e.Open():
		text += "open, at least " + l.Low + " mΩ"
	case wording.SeemsOpen(e):
		text += fmt.Sprintf("perhaps open (%s … %s mΩ)", l.Low, l.High)
	default:
		text += fmt.Sprintf("%s %s (%s … %s)", l.Value, l.Unit, l.Low, l.High)
	}
	if l.Limit != "" {
		text += ", limit " + l.Limit
	}
	t.wrapped("", text, 0, e.Verdict)
	if x.Why != "" {
		t.wrapped("", x.Why, 0, assessment.None)
	}
	if x.Advice != "" {
		t.wrapped("", x.Advice, 0, assessment.None)
	}
	if e.Open() {
		t.wrapped("", "That it is open follows from all readings together; no part of them shows it alone.", 0, assessment.None)
		return t.w.Flush()
	}
	if len(x.Parts) == 0 {
		t.wrapped("", "No reading determines it.", 0, assessment.None)
		return t.w.Flush()
	}
	t.heading("What would be known if these readings were missing")
	for _, p := range x.Parts {
		what, indent := p.What, 2
		if p.PartOfPrevious {
			what, indent = "of these, those in step \""+printable.Short(p.Step, 40)+"\"", 4
		}
		t.wrapped("", fmt.Sprintf("%s (%s): %s", what, rowsText(p.Rows), withoutText(e, p)), indent, assessment.None)
	}
	if p := x.Single; p != nil {
		text := "No single reading decides."
		if p.Share >= 0.01 {
			text = fmt.Sprintf("The one reading that matters most is line %d%s; without it: %s.", p.Rows[0], wording.InStep(p.Step), withoutText(e, *p))
			if p.Verdict == e.Verdict && (e.Verdict == assessment.Pass || e.Verdict == assessment.Fail) {
				text += " So no single reading decides."
			}
		}
		fmt.Fprintln(t.w)
		t.wrapped("", text, 0, assessment.None)
	}
	if len(x.Sources) > 0 {
		var list []string
		for _, s := range x.Sources {
			list = append(list, shareText(s.Share)+" "+s.What)
		}
		t.wrapped("", "What makes it uncertain: "+strings.Join(list, ", ")+".", 0, assessment.None)
	}
	if fit.DegreesOfFreedom > 0 {
		t.wrapped("", "How well the readings agree with each other and with the run file: "+wording.Fit(fit)+".", 0, assessment.None)
	}
	return t.w.Flush()
}

// withoutText returns the estimate of an element without some readings, in words.
func withoutText(e assessment.Element, p assessment.Part) string {
	if !p.Known {
		if e.Known {
			return "nothing would be known"
		}
		return "still unknown"
	}
	text := fmt.Sprintf("%s … %s", number.Milliohms(p.Low), number.Milliohms(p.High))
	switch {
	case math.IsInf(p.High, 1) && math.IsInf(p.Ohms, 1):
		text = "open, at least " + number.Milliohms(p.Low)
	case math.IsInf(p.High, 1):
		text = "at least " + number.Milliohms(p.Low)
	}
	switch {
	case p.Verdict == assessment.None:
	case p.Verdict == e.Verdict:
		text += ", still " + string(p.Verdict)
	default:
		text += ", " + string(p.Verdict)
	}
	return text
}

// rowsText names rows as lines of the file, three or more neighbours as a range: "lines 4–6, 9".
func rowsText(rows []int) string {
	if len(rows) == 1 {
		return fmt.Sprintf("line %d", rows[0])
	}
	var parts []string
	for i := 0; i < len(rows); {
		k := i
		for k+1 < len(rows) && rows[k+1] == rows[k]+1 {
			k++
		}
		switch {
		case k > i+1:
			parts = append(parts, fmt.Sprintf("%d–%d", rows[i], rows[k]))
		default:
			for _, r := range rows[i : k+1] {
				parts = append(parts, strconv.Itoa(r))
			}
		}
		i = k + 1
	}
	const most = 12
	if n := len(parts) - most; n > 0 {
		parts = append(parts[:most], fmt.Sprintf("and %d more", n))
	}
	return "lines " + strings.Join(parts, ", ")
}

// shareText writes a share in whole percent; 100 % only where it is exactly all.
func shareText(share float64) string {
	n := math.Round(100 * share)
	if n == 100 && share < 1 {
		return "> 99 %"
	}
	return strconv.FormatFloat(n, 'f', 0, 64) + " %"
}
