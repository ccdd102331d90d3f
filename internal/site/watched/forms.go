package watched

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"ohmkeep/internal/drift"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
)

// forms is what the forms of a page show.
type forms struct {
	Steps        []string // of the run
	Step         string   // that is shown now
	About        []string // beginnings of a note: the elements that work is done on
	Note, NoteAt string   // as filled in
	Fault        string   // why the note was refused
}

func stepsOf(r *run.Run) (names []string) {
	for _, s := range r.Steps {
		names = append(names, s.Name)
	}
	return names
}

// aboutOf returns the names of joints and feeds as a note gives them.
func aboutOf(r *run.Run) (names []string) {
	for _, j := range r.Joints {
		names = append(names, "re-made joint "+j.Name)
	}
	for _, f := range r.Feeds {
		names = append(names, "new feed "+f.Name)
	}
	return names
}

// Limits of notes: a person writes a few at a time.
const (
	maxNote      = 500  // bytes of a note
	maxNoteBody  = 4096 // bytes of the form
	noteInterval = 3 * time.Second
	noteBurst    = 20
	maxAhead     = 24 * time.Hour // that a note may be dated ahead of the clock: clocks and time zones differ
)

// localTime is how a form writes a time (HTML Living Standard, section 2.3.5.6: local date and time).
const localTime = "2006-01-02T15:04"

// note stores a note on work that was done, asks for an analysis, and goes on to the element that
// the note concerns.
func (p *Pages) note(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, maxNoteBody)
	if err := r.ParseForm(); err != nil {
		http.Error(w, "the body is not the form of a note", http.StatusBadRequest)
		return
	}
	filled := forms{Note: strings.TrimSpace(r.PostForm.Get("text")), NoteAt: r.PostForm.Get("at")}
	refuse := func(code int, why string) {
		filled.Fault = why
		p.showHome(w, r, code, filled)
	}
	if !p.notes.Allow() {
		refuse(http.StatusTooManyRequests, "Too many notes at once. Wait a little.")
		return
	}
	at, concerned, why := p.checkNote(filled)
	if why != "" {
		refuse(http.StatusBadRequest, why)
		return
	}
	if err := p.o.Note(r.Context(), p.source.Run().Name, at, filled.Note); err != nil {
		refuse(http.StatusInternalServerError, "The note was not stored: "+err.Error())
		return
	}
	p.mu.Lock()
	p.change()
	p.mu.Unlock()
	p.source.AnalyseSoon()
	to := "./?noted=1"
	if len(concerned) > 0 {
		if _, followed := p.series(concerned[0].Kind, concerned[0].Name); followed {
			to = elementLink(concerned[0].Kind, concerned[0].Name) + "&noted=1"
		}
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// checkNote returns when the work of a note was done, and what the note concerns; none = all. why
// says why it is refused; "" = it is not.
func (p *Pages) checkNote(f forms) (at time.Time, concerned []drift.Part, why string) {
	now, r := p.o.Now(), p.source.Run()
	at = now.Truncate(time.Second)
	if f.NoteAt != "" {
		var err error
		if at, err = time.ParseInLocation(localTime, f.NoteAt, time.Local); err != nil {
			return at, nil, fmt.Sprintf("%q is no time such as 2026-11-20T16:00.", f.NoteAt)
		}
	}
	switch {
	case f.Note == "":
		return at, nil, "Write what was done, such as “re-made joint 1”."
	case len(f.Note) > maxNote:
		return at, nil, fmt.Sprintf("The note is too long: at most %d characters.", maxNote)
	case at.After(now.Add(maxAhead)):
		return at, nil, f.NoteAt + " is in the future: a note says what was done."
	}
	err := drift.Misnamed(f.Note, r)
	if err == nil {
		concerned, err = drift.Concerns(f.Note, r)
	}
	if err != nil {
		why = wording.Capital(err.Error()) + "."
	}
	return at, concerned, why
}
