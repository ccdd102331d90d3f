package watched

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

var elementPage = parts.NewPage(files, nil, "element.html", "forms.html", "window.html")

// repair is a note on an element with what was before and after it, mΩ.
type repair struct{ When, Text, Before, After, Difference string }

// element is the data of the page of an element.
type element struct {
	state
	Run, Label      string
	Bar             bar
	Line            wording.SeriesLine
	Picture         picture
	Window          window
	Fields          fields
	Kind, Name      string
	Repairs         []repair
	Months          []wording.Month
	Noted, MayWrite bool
	Forms           forms
}

// element answers with the page of one element: its resistance over the years.
func (p *Pages) element(w http.ResponseWriter, r *http.Request) {
	revision := p.present()
	query := r.URL.Query()
	kind, name := query.Get("kind"), query.Get("name")
	s, followed := p.series(run.Kind(kind), name)
	if !followed {
		http.Error(w, fmt.Sprintf("nothing is known of %s %q: the stored readings do not follow it", printable.Short(kind, 20), printable.Short(name, 60)), http.StatusNotFound)
		return
	}
	status := p.source.Status()
	line := wording.SeriesLineOf(s)
	data := element{Run: printable.Short(p.source.Run().Name, 120), state: stateAt(revision, status.Time), Label: wording.Capital(line.Label), Line: line, Kind: kind, Name: name,
		Bar: bar{Class: line.Class, Word: strings.ToUpper(line.Word), Rest: valueOf(s, line)}, Noted: query.Get("noted") != "",
		MayWrite: p.mayWrite(r), Repairs: repairsOf(s), Months: wording.Months(s), Forms: forms{Note: noteOn(s)}}
	slices.Reverse(data.Months)
	data.Bar = p.orByHand(r, data.Bar, s)
	data.Window = windowOf("element", query, record{s.First, s.Last.Add(day), expected(s), elementLengths, time.DateOnly})
	data.Fields = fields{data.Window, "date"}
	var err error
	data.Picture, err = draw(func(width int) *chart.Picture { return chart.YearsBetween(s, data.Window.From, data.Window.To, width) })
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	elementPage.Write(w, r, http.StatusOK, p.head(data.Label+", "+data.Run+": "+line.Word), data)
}

// expected returns the end of the picture of an element: a day after its newest night, or the end of
// the forecast of a drift.
func expected(s history.Series) time.Time {
	end := s.Last.Add(day)
	if s.Verdict == history.Drifting {
		end = end.Add(2 * s.Last.Sub(s.First) / 5) // as far as chart.Years draws it
	}
	return end
}

// series returns the history of an element, and whether there is one.
func (p *Pages) series(kind run.Kind, name string) (s history.Series, followed bool) {
	h := p.source.History()
	if h == nil {
		return s, false
	}
	i := slices.IndexFunc(h.Series, func(s history.Series) bool { return s.Kind == kind && s.Name == name })
	if i < 0 {
		return s, false
	}
	return h.Series[i], true
}

// valueOf says what is known of an element.
func valueOf(s history.Series, l wording.SeriesLine) string {
	if !known(s) {
		return "Its resistance is not known."
	}
	text := fmt.Sprintf("%s mΩ at 20 °C, 95 %% interval %s mΩ", l.Ohms, l.Interval)
	if !math.IsNaN(s.Limit) {
		text += "; limit " + l.Limit + " mΩ"
	}
	return text + "."
}

// orByHand returns what was read by hand of an element in place of a bar that knows no value.
func (p *Pages) orByHand(r *http.Request, b bar, s history.Series) bar {
	hand, read := p.handElements(r.Context(), p.source.Run(), p.source.History())
	for _, e := range hand {
		if e.Kind == s.Kind && e.Name == s.Name && !math.IsNaN(e.Ohms) {
			l := wording.LineOf(e)
			return bar{Class: string(e.Verdict), Word: strings.ToUpper(string(e.Verdict)),
				Rest: fmt.Sprintf("Read by hand on %s: %s %s at 20 °C, 95 %% interval %s … %s.", read.at.Local().Format("2 January 2006"), l.Value, l.Unit, l.Low, l.High)}
		}
	}
	return b
}

// repairsOf returns the notes on an element, the newest first.
func repairsOf(s history.Series) (out []repair) {
	for i := len(s.Marks) - 1; i >= 0; i-- {
		m := s.Marks[i]
		r := repair{When: m.Time.Local().Format("2 January 2006, 15:04"), Text: printable.Short(m.Text, 200), Before: number.MilliohmTenths(m.Before), After: number.MilliohmTenths(m.After)}
		if !math.IsNaN(m.Before) && !math.IsNaN(m.After) {
			r.Difference = number.SignedTenths(m.After - m.Before)
		}
		out = append(out, r)
	}
	return out
}

// noteOn returns the beginning of a note on an element, such as “re-made joint west-north”.
func noteOn(s history.Series) string {
	if s.Kind == "joint" {
		return "re-made joint " + s.Name
	}
	return "repaired " + string(s.Kind) + " " + s.Name
}
