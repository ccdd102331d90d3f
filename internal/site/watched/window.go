package watched

import (
	"net/url"
	"time"
)

// window is the time that a picture shows, and the links to others.
type window struct {
	From, To time.Time
	Choices  []choice
	FromText string // as the form's fields write them
	ToText   string
	Fault    string // the fields were not understood
}

// fields are the form's fields of a window, of a kind of <input>.
type fields struct {
	Window window
	Kind   string
}

// choice is a link to another window.
type choice struct {
	Text, Link string
	Chosen     bool
}

// length is a named length of a window.
type length struct {
	name, text string
	long       time.Duration
}

const day = 24 * time.Hour

// lengths are those of the history of an element, and of a sensor.
var (
	elementLengths = []length{{"month", "month", 31 * day}, {"quarter", "3 months", 92 * day}, {"year", "year", 366 * day}, {"5years", "5 years", 5 * 366 * day}}
	sensorLengths  = []length{{"hour", "hour", time.Hour}, {"day", "day", day}, {"week", "week", 7 * day}, {"month", "month", 31 * day}, {"year", "year", 366 * day}}
)

// record is what a window is of.
type record struct {
	first, last time.Time // readings
	end         time.Time // of what is expected; last where nothing is
	lengths     []length
	layout      string // of the form's fields
}

// windowOf returns the window that a page's query asks for: last= the name of a length, from= and
// to= as a form writes them, or everything. The links keep the other values of the query.
func windowOf(path string, query url.Values, of record) window {
	first, last, end, lengths, layout := of.first, of.last, of.end, of.lengths, of.layout
	if !end.After(first) {
		end = first.Add(lengths[0].long)
	}
	w := window{From: first, To: end}
	chosen := query.Get("last")
	for _, l := range lengths {
		if l.name == chosen {
			w.From = last.Add(-l.long)
			if ahead := last.Add(l.long / 3); ahead.Before(end) {
				w.To = ahead
			}
		}
	}
	if chosen == "" && (query.Get("from") != "" || query.Get("to") != "") {
		chosen = "between"
		w.from(query, layout)
	}
	link := func(set func(url.Values)) string {
		q := url.Values{}
		for key, values := range query {
			if key != "last" && key != "from" && key != "to" && key != "noted" {
				q[key] = values
			}
		}
		set(q)
		return path + "?" + q.Encode() + "#picture"
	}
	w.Choices = append(w.Choices, choice{"everything", link(func(url.Values) {}), chosen == ""})
	for i := len(lengths) - 1; i >= 0; i-- {
		l := lengths[i]
		w.Choices = append(w.Choices, choice{"last " + l.text, link(func(q url.Values) { q.Set("last", l.name) }), chosen == l.name})
	}
	long := w.To.Sub(w.From)
	between := func(text string, from, to time.Time) {
		w.Choices = append(w.Choices, choice{Text: text, Link: link(func(q url.Values) {
			q.Set("from", from.Local().Format(layout))
			q.Set("to", to.Local().Format(layout))
		})})
	}
	between("earlier", w.From.Add(-long/2), w.To.Add(-long/2))
	between("later", w.From.Add(long/2), w.To.Add(long/2))
	if least := 4 * shortest(layout); long > least {
		between("closer", w.From.Add(long/4), w.To.Add(-long/4))
	}
	between("wider", w.From.Add(-long/2), w.To.Add(long/2))
	w.FromText, w.ToText = w.From.Local().Format(layout), w.To.Local().Format(layout)
	return w
}

// shortest is the least that two times differ in a layout.
func shortest(layout string) time.Duration {
	if layout == time.DateOnly {
		return day
	}
	return time.Minute
}

// from sets the window to what the form's fields say; an empty field is an end of everything.
func (w *window) from(query url.Values, layout string) {
	from, to := w.From, w.To
	for name, at := range map[string]*time.Time{"from": &from, "to": &to} {
		text := query.Get(name)
		if text == "" {
			continue
		}
		t, err := time.ParseInLocation(layout, text, time.Local)
		if err != nil || t.Year() < 1970 || t.Year() > 2261 {
			w.Fault = "“" + text + "” is no time such as " + w.To.Local().Format(layout) + ". Everything is shown."
			return
		}
		*at = t
	}
	if !to.After(from) {
		w.Fault = "The end of this time does not lie after its beginning. Everything is shown."
		return
	}
	w.From, w.To = from, to
}
