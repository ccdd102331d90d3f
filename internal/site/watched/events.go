package watched

import (
	"net/http"
	"strings"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/store"
	"ohmkeep/internal/text/printable"
)

var eventsPage = parts.NewPage(files, nil, "events.html", "marks.html")

// mostEvents is how many events are shown; the run's own are few, those of unsteady probes many.
const mostEvents = 1000

// event is something that happened, in words.
type event struct{ When, What, Text string }

// events answers with the page of what happened to the run.
func (p *Pages) events(w http.ResponseWriter, r *http.Request) {
	revision, status := p.present(), p.source.Status()
	all, err := p.newestEvents(r, "", mostEvents)
	if err != nil {
		http.Error(w, "the events cannot be read: "+err.Error(), http.StatusInternalServerError)
		return
	}
	data := struct {
		state
		Run    string
		Events []event
		Most   bool
	}{stateAt(revision, status.Time), printable.Short(p.source.Run().Name, 120), all, len(all) == mostEvents}
	eventsPage.Write(w, r, http.StatusOK, p.head("What happened, "+data.Run), data)
}

// newestEvents returns the newest marks of the run but those of a kind, the newest first.
func (p *Pages) newestEvents(r *http.Request, without string, most int) ([]event, error) {
	marks, err := p.records.NewestMarks(r.Context(), p.source.Run().Name, "", without, most+mostSteps)
	var out []event
	for _, m := range marks {
		if m.Kind == store.MarkWalk {
			if m.Text = walk.Summary(m.Text); m.Text == "" {
				continue
			}
		}
		if out = append(out, eventOf(m)); len(out) == most {
			break
		}
	}
	return out, err
}

// mostSteps is how many readings of a walk may lie between the events that are shown.
const mostSteps = 500

// eventOf returns a mark in words.
func eventOf(m store.Mark) event {
	var texts []string
	if m.Kind == store.MarkBoot {
		m.Text = "" // the id of the start says nothing to a reader
	}
	for _, text := range []string{m.Subject, m.Text} {
		if text != "" {
			texts = append(texts, printable.Line(text))
		}
	}
	return event{m.Time.Local().Format("2 Jan 2006, 15:04"), wording.MarkWord(m.Kind), strings.Join(texts, ": ")}
}
