// Package walking is the page of a guided walk, for a phone on a ladder: which step to set, where to
// put the leads, the value of the meter on a port or a keypad, and what is settled.
//
// Every device that has the page open shows the same walk and can go on with it; package guide holds
// that none overwrites what another has done. The page talks to these paths:
//
//	GET  /walk          the page
//	GET  /walk/state    State, JSON
//	GET  /walk/events   State as the event "walk" and Live as "live", whenever they change
//	GET  /walk/picture  the run as it hangs, with the places to touch; ?width= in px
//	POST /walk/do       Order, JSON; the answer is the State after it, or 409 where another device was first
//
// Who may enter and who may write is decided before these handlers (web/access).
package walking

import (
	"bytes"
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"strconv"
	"time"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/guide"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
)

//go:embed files walk.html draw.html
var embedded embed.FS

// fileSystem returns the page's files.
func fileSystem() fs.FS {
	files, err := fs.Sub(embedded, "files")
	if err != nil {
		panic(err) // the folder is embedded above
	}
	return files
}

var page = parts.NewPage(embedded, nil, "walk.html")

// Config is what the pages are made of.
type Config struct {
	Session  *guide.Session
	Run      *run.Run
	Streams  *parts.Streams
	Links    []parts.Link // to other pages of the server
	Program  string       // version
	Next     string       // what can be done once the walk has ended, a sentence
	MayWrite func(*http.Request) bool
}

// Pages serves the page of one walk.
type Pages struct {
	Config
	feed *parts.Feed
}

// New returns the pages of a walk. Run must be running while they are served.
func New(c Config) *Pages {
	return &Pages{Config: c, feed: parts.NewFeed(c.Streams, nil)}
}

// Paths returns the patterns of all paths that the pages answer, for http.ServeMux.
func Paths() []string {
	list := []string{"GET /walk", "GET /walk/state", "GET /walk/events", "GET /walk/picture", "POST /walk/do"}
	entries, _ := fs.ReadDir(fileSystem(), ".") // it is embedded
	for _, e := range entries {
		list = append(list, "GET "+parts.Root+e.Name())
	}
	return list
}

// Handler returns the handler of Paths.
func (p *Pages) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /walk", p.page)
	mux.HandleFunc("GET /walk/state", p.state)
	mux.Handle("GET /walk/events", p.feed)
	mux.HandleFunc("GET /walk/picture", p.picture)
	mux.HandleFunc("POST /walk/do", p.do)
	mux.Handle("GET "+parts.Root, parts.Files(fileSystem()))
	return mux
}

// Run tells the open pages of each change until the context ends.
func (p *Pages) Run(ctx context.Context) {
	var shown walk.Walk
	var known *walk.Knowledge
	var ready, sent bool
	var problem string
	for {
		changed, x := p.Session.Changed(), p.Session.Snapshot()
		if !sent || x.Ready != ready || x.Walk.Number() != shown.Number() || x.Walk.Known() != known || x.Problem != problem {
			shown, known, ready, problem, sent = x.Walk, x.Walk.Known(), x.Ready, x.Problem, true
			p.publish("walk", p.stateOf(x))
		}
		p.publish("live", liveOf(x.Live))
		select {
		case <-changed:
		case <-ctx.Done():
			return
		}
	}
}

// Open returns how many pages are open.
func (p *Pages) Open() int { return p.feed.Pages() }

func (p *Pages) publish(name string, value any) {
	text, _ := json.Marshal(value) // strings, numbers and booleans
	p.feed.Publish(name, text)
}

// stateOf returns the state of the walk, with the name of its picture.
func (p *Pages) stateOf(x guide.Snapshot) State {
	s := stateOf(p.Session, x)
	verdicts := ""
	for _, e := range s.Results {
		verdicts += e.Name + e.Verdict + e.Value
	}
	s.Picture = fmt.Sprintf("%x", hash(s.Place.From+" "+s.Place.To+" "+s.Place.Quantity+" "+verdicts))
	return s
}

func (p *Pages) page(w http.ResponseWriter, r *http.Request) {
	x := p.Session.Snapshot()
	page.Write(w, r, http.StatusOK, parts.Head{Title: "Walk along " + p.Config.Run.Name, Styles: []string{"walk.css"}, Scripts: []string{"walk.js"},
		Links: p.Links, Program: p.Program}, struct {
		Run      string
		Practise bool
		MayWrite bool
		Warnings []string
		Next     string
	}{p.Config.Run.Name, x.Practise, p.MayWrite(r), p.Config.Run.ParallelWarnings(), p.Next})
}

func (p *Pages) state(w http.ResponseWriter, _ *http.Request) {
	answer(w, http.StatusOK, p.stateOf(p.Session.Snapshot()))
}

func answer(w http.ResponseWriter, status int, value any) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(value) // an error means that the client is gone
}

// The least and greatest width of the picture, px.
const minWidth, maxWidth = 280, 1600

func (p *Pages) picture(w http.ResponseWriter, r *http.Request) {
	width, err := strconv.Atoi(r.URL.Query().Get("width"))
	if err != nil {
		width = 328
	}
	x := p.Session.Snapshot()
	var elements []chart.HangElement
	if k := x.Walk.Known(); x.Ready && k != nil {
		elements = hangElements(k)
	}
	var lit chart.Lit
	if x.Task.Kind == walk.Measure {
		lit = chart.LitReading(p.Config.Run, x.Task.Read.Quantity, x.Task.Read.From, x.Task.Read.To)
	}
	var b bytes.Buffer
	if err := chart.Hang(p.Config.Run, elements, lit, min(max(width, minWidth), maxWidth)).Inline(&b); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = b.WriteTo(w) // an error means that the client is gone
}

// hangElements returns what the picture says of the elements that are settled.
func hangElements(k *walk.Knowledge) (list []chart.HangElement) {
	for _, e := range k.Elements {
		if e.Rail != run.Loop || e.Verdict != assessment.Pass && e.Verdict != assessment.Fail {
			continue
		}
		l := wording.LineOf(e)
		list = append(list, chart.HangElement{Kind: e.Kind, Name: e.Name, Verdict: e.Verdict, Text: l.Value + " " + l.Unit})
	}
	return list
}

// orderTime is the longest time that an order may take: a step may have many fixed probes to read.
const orderTime = 20 * time.Second

func (p *Pages) do(w http.ResponseWriter, r *http.Request) {
	if !p.MayWrite(r) {
		answer(w, http.StatusForbidden, failure{Error: "you may read only"})
		return
	}
	var o Order
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 1<<14)).Decode(&o); err != nil {
		answer(w, http.StatusBadRequest, failure{Error: "not the JSON of an order: " + err.Error()})
		return
	}
	ctx, stop := context.WithTimeout(r.Context(), orderTime)
	defer stop()
	err := p.carryOut(ctx, o)
	state := p.stateOf(p.Session.Snapshot())
	switch {
	case err == nil:
		answer(w, http.StatusOK, state)
	case errors.Is(err, walk.ErrStale):
		answer(w, http.StatusConflict, failure{"Another device has gone on with this walk. This is where it is now.", &state})
	case guide.Lasting(err) && !errors.Is(err, errOrder):
		answer(w, http.StatusServiceUnavailable, failure{wording.Capital(err.Error()) + ".", &state})
	default:
		answer(w, http.StatusUnprocessableEntity, failure{wording.Capital(err.Error()) + ".", &state})
	}
}

// failure is the answer to an order that was not carried out.
type failure struct {
	Error string `json:"error"`
	State *State `json:"state,omitempty"`
}
