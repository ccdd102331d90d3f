package watched

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/text/printable"
	"ohmkeep/internal/watch/service"
	"ohmkeep/internal/watch/storage"
	"ohmkeep/internal/web/access"
)

var homePage = parts.NewPage(files, nil, "home.html", "forms.html", "marks.html")

// bar is a verdict in a bar: its word, and the rest of the sentence.
type bar struct {
	Class      string // pass, fail or unproven; "" = none
	Word, Rest string
	Details    []string
}

// elementRow is one element in the table.
type elementRow struct {
	wording.SeriesLine
	Per  string // " per m" of a resistance per metre
	Link string // "" where nothing is followed
}

// channelRow is one channel in the table.
type channelRow struct {
	Channel
	What, Link, Key, When string
}

// home is the data of the page of the run.
type home struct {
	state
	Run             string
	Bars            []bar // of the run and of the watch, the graver first
	Actions         []wording.Action
	Notes, Cautions []string
	Hung            picture
	Elements        []elementRow
	Channels        []channelRow
	Events          []event
	Check, Analysed string
	ByHand          string // when the newest reading by hand was taken that is shown
	Noted, MayWrite bool
	Forms           forms
	LoggedIn        bool
	Store           string
	Away            bool // the run's watch is elsewhere
	Back            *parts.Link
}

// home answers with the page of the run.
func (p *Pages) home(w http.ResponseWriter, r *http.Request) {
	p.showHome(w, r, http.StatusOK, forms{})
}

// showHome writes the page of the run, with what was filled into its forms.
func (p *Pages) showHome(w http.ResponseWriter, r *http.Request, status int, filled forms) {
	revision := p.present()
	s, run, h := p.source.Status(), p.source.Run(), p.source.History()
	visitor := access.VisitorOf(r)
	hand, read := p.handElements(r.Context(), run, h)
	data := home{Run: printable.Short(run.Name, 120), state: stateAt(revision, s.Time), Bars: p.barsOf(h, s, hand, read), Away: p.o.Away != nil, Back: p.o.Back, Notes: s.Notes, Cautions: wording.Cautions,
		Noted: r.Method == http.MethodGet && r.URL.Query().Get("noted") != "", MayWrite: p.mayWrite(r), LoggedIn: visitor.LoggedIn, Forms: filled}
	data.Forms.Steps, data.Forms.Step, data.Forms.About = stepsOf(run), s.Step, aboutOf(run)
	for _, why := range s.Reasons {
		text := wording.Capital(printable.Line(why))
		if !strings.HasSuffix(text, "?") {
			text += "."
		}
		data.Actions = append(data.Actions, wording.Action{Text: text})
	}
	data.Actions, data.Elements = append(data.Actions, actionsOf(h, hand, read)...), rowsOf(h, hand, read)
	if h != nil {
		data.Check, data.Analysed = when(h.Check, s.Time), when(h.Last, s.Time)
	}
	if len(hand) > 0 {
		data.ByHand = when(read.at, s.Time)
	}
	for _, c := range p.liveOf(s, 0).Channels {
		data.Channels = append(data.Channels, rowOf(c, s.Time))
	}
	if s.Disk != nil {
		data.Store = fmt.Sprintf("The store has %.1f MB; %.1f of %.1f GB are free.", float64(s.Disk.Store)/1e6, float64(s.Disk.Free)/1e9, float64(s.Disk.Size)/1e9)
	}
	var err error
	if data.Hung, err = p.hang(revision, run, h, hand); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	const newest = 8 // without announced steps, which a controller may send all day
	if data.Events, err = p.newestEvents(r, storage.MarkStep, newest); err != nil {
		data.Notes = append(data.Notes, "the events cannot be read: "+err.Error())
	}
	homePage.Write(w, r, status, p.head(data.Run+": "+strings.ToLower(data.Bars[0].Word)), data)
}

// barsOf returns the verdicts on the run and on the watch, the graver first.
func (p *Pages) barsOf(h *history.History, s service.Status, hand []assessment.Element, read byHand) []bar {
	found, watch := verdictOf(h), watchBar(s)
	if p.o.Away != nil {
		a := p.o.Away()
		watch = arrivalBar(a)
		if h == nil {
			found = bar{Word: "NOT ANALYSED YET", Rest: a.progress()}
		}
	}
	run := withHand(found, h, hand, read)
	if watch.Class == string(assessment.Fail) && run.Class != string(assessment.Fail) {
		return []bar{watch, run}
	}
	return []bar{run, watch}
}

// verdictOf returns the verdict on the run.
func verdictOf(h *history.History) bar {
	if h == nil {
		return bar{Word: "NOT ANALYSED YET", Rest: "The first analysis is made about a minute after the start."}
	}
	text, verdict := wording.DriftHeadline(h)
	word, rest, _ := strings.Cut(text, ": ")
	return bar{Class: string(verdict), Word: word, Rest: rest}
}

// watchBar returns the verdict on the watch.
func watchBar(s service.Status) bar {
	w := watchOf(s)
	if !s.Well { // why stands in what needs doing
		return bar{Class: w.Verdict, Word: "TROUBLE", Rest: "The watch does not record everything."}
	}
	return bar{Class: w.Verdict, Word: "WATCHING", Rest: w.Text, Details: w.Details}
}

// rowOf returns a channel's row in a table at a moment.
func rowOf(c Channel, now time.Time) channelRow {
	row := channelRow{Channel: c, What: wording.Capital(placeOf(c)), Key: c.Probe + "/" + c.ID}
	if c.From != "" { // what is carried from place to place is not stored
		row.Link = "sensor?" + url.Values{"probe": {c.Probe}, "channel": {c.ID}}.Encode()
	}
	if c.Time != nil {
		row.When = millis(*c.Time)
	}
	return row
}

// placeOf says what a channel measures and where.
func placeOf(c Channel) string {
	if c.From == "" {
		return c.Quantity + " of channel " + c.ID + " of probe " + c.Probe
	}
	return wording.Between(quantityOf(c), c.From, c.To)
}

func elementLink(kind run.Kind, name string) string {
	return "element?" + url.Values{"kind": {string(kind)}, "name": {name}}.Encode()
}

// millis writes a time for the script, in ms since 1970.
func millis(t time.Time) string { return fmt.Sprint(t.UnixMilli()) }

// when says when something was, "" for the zero time.
func when(t, now time.Time) string {
	if t.IsZero() {
		return ""
	}
	text := t.Local().Format("2 January 2006, 15:04")
	switch age := now.Sub(t); {
	case age < 0:
	case age < 2*time.Hour:
		text += fmt.Sprintf(" (%.0f minutes ago)", age.Minutes())
	case age < 48*time.Hour:
		text += fmt.Sprintf(" (%.0f hours ago)", age.Hours())
	default:
		text += fmt.Sprintf(" (%.0f days ago)", age.Hours()/24)
	}
	return text
}
