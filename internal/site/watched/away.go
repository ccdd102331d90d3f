package watched

import (
	"net/http"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/web/access"
)

// mayWrite reports whether a visitor may write to the watch of the run, which must not be elsewhere.
func (p *Pages) mayWrite(r *http.Request) bool {
	return p.o.Note != nil && access.VisitorOf(r).MayWrite
}

// arrivalBar returns what is known of a run in a central database, as a bar.
func arrivalBar(a Arrival) bar {
	w := a.watch()
	b := bar{Class: w.Verdict, Word: "CENTRAL DATA", Rest: w.Text, Details: w.Details}
	if a.Silent {
		b.Word = "SILENT"
	}
	return b
}

// watch returns what is known of the watch of a run in a central database.
func (a Arrival) watch() Watch {
	w := Watch{Text: "Nothing was heard of its watch yet.", Details: []string{}}
	if !a.Heard.IsZero() {
		w.Text = "Last heard of its watch on " + a.Heard.Local().Format(minute) + "."
	}
	if !a.Until.IsZero() {
		w.Text += " Readings up to " + a.Until.Local().Format(minute) + " have arrived."
	}
	switch {
	case a.Fault != "":
		w.Verdict, w.Details = string(assessment.Fail), append(w.Details, a.Fault)
	case a.Silent:
		w.Verdict = string(assessment.Unproven)
	}
	return w
}

// minute is how a moment is shown.
const minute = "2 January 2006, 15:04"

// progress says what is to be expected of a run that was not analysed yet.
func (a Arrival) progress() string {
	switch {
	case a.Analysing:
		return "Its readings are being analysed; this page shows the result by itself."
	case a.Fault != "":
		return "Its readings cannot be analysed now."
	}
	return "No readings of it have arrived yet."
}
