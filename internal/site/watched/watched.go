// Package watched is the pages of a watched run in a browser: what needs doing, the run as it
// hangs with what is known of each element, live volts and amps, the history of each element and
// sensor, events, and forms to announce a step and to note a repair.
//
// A run whose watch is elsewhere, and which is read from a firm's central database, has the same
// pages without what only a watch can do: live values and the forms. Links are relative, so that
// the pages may stand below any path.
//
// A page is whole as it is sent; its script only keeps it up to date. GET /live is the state as
// JSON, a Live; GET /live/events sends a Live whenever it changes. If its revision changes, the
// script loads the page again in the background and puts the parts of it in place that carry the
// attribute data-part.
//
// Who may only read sees no form. Nothing here waits for the recorder, and the recorder waits for
// nothing here: a state is taken once a second for all open pages, and none while no page is open.
package watched

import (
	"context"
	"embed"
	"io/fs"
	"net/http"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/service"
)

//go:embed *.html *.css *.js
var files embed.FS

// Source is the run that is shown: a watch (service.Watch), or a run in a central database. Its
// methods may be called from any goroutine; none of them waits for what is stored.
type Source interface {
	Status() service.Status
	Run() *run.Run             // the one in force; another is put in its place, it is not changed
	History() *history.History // of the newest analysis; nil: there was none
	AnalyseSoon()              // asks for an analysis, as after a note
	Done() <-chan struct{}     // closed when the source ends
}

// Records are what is stored of the run. Its methods may be called from any goroutine.
type Records interface {
	// NewestMarks returns the newest marks of a run, at most so many, the newest first: those of a
	// kind where kind is not "", and none of the kind without.
	NewestMarks(ctx context.Context, run, kind, without string, most int) ([]store.Mark, error)
	// ByHand returns what was read of a run in known steps, not by probes.
	ByHand(ctx context.Context, r *run.Run) ([]reading.Reading, error)
	// MinMeanMax summarises the selected samples in n periods of equal length.
	MinMeanMax(ctx context.Context, sel store.Selection, n int) ([]store.Bucket, error)
	// Span returns the moments of the first and the last reading of a run; zero = none.
	Span(ctx context.Context, run string) (first, last time.Time, err error)
}

// Options are the facts on a page that are not the watch's.
type Options struct {
	Program string           // version of the program
	Links   []parts.Link     // to other pages of the same server
	Streams *parts.Streams   // bound of the open pages
	Now     func() time.Time // nil: time.Now
	// Note stores a note on work done at a time; nil: the run is read from a central database.
	Note func(ctx context.Context, run string, at time.Time, text string) error
	Away func() Arrival // of a run that is read from a central database; nil: of a watch
	Back *parts.Link    // to the page above that of the run; nil: there is none
}

// Arrival is what is known of a run in a central database beside what was stored.
type Arrival struct {
	Heard     time.Time // when the watch last sent something; zero = never
	Until     time.Time // readings before it have arrived; zero = none
	Silent    bool      // nothing was heard of it for so long that it needs a visit
	Analysing bool      // the readings are being analysed
	Fault     string    // why the newest readings are not shown; "" = they are
}

// Pages are the pages of one run.
type Pages struct {
	source  Source
	records Records
	o       Options
	feed    *parts.Feed
	notes   *rate.Limiter
	reading sync.Mutex // held while a long time of the store is read, so that one at most is

	mu       sync.Mutex
	history  *history.History // that of the revision
	run      *run.Run
	revision int
	picture  hung      // the run as it hangs at the revision
	sentTime time.Time // the newest time of the watch that was sent
	hand     byHand

	changed chan struct{} // an analysis, the run file or a note has changed the pages
}

// Files returns the files of the pages, for a server that has them at one place for several runs.
func Files() fs.FS { return files }

// New returns the handler of the pages of a run. It keeps the open ones up to date until the source
// ends.
func New(s Source, records Records, o Options) http.Handler {
	if o.Now == nil {
		o.Now = time.Now
	}
	p := &Pages{source: s, records: records, o: o, revision: int(o.Now().Unix()), changed: make(chan struct{}, 1), notes: rate.NewLimiter(rate.Every(noteInterval), noteBurst)}
	p.feed = parts.NewFeed(o.Streams, p.opened)
	p.present()
	go p.keepUp()
	go p.followHand()
	mux := http.NewServeMux()
	mux.Handle("GET "+parts.Root, parts.Files(files))
	mux.HandleFunc("GET /{$}", p.home)
	mux.HandleFunc("GET /element", p.element)
	mux.HandleFunc("GET /sensor", p.sensor)
	mux.HandleFunc("GET /events", p.events)
	if o.Note != nil {
		mux.HandleFunc("POST /note", p.note)
	}
	mux.HandleFunc("GET /live", p.live)
	mux.Handle("GET /live/events", p.feed)
	return mux
}

// head returns what a page says of itself.
func (p *Pages) head(title string) parts.Head {
	return parts.Head{Title: title, Styles: []string{"watched.css"}, Scripts: []string{"watched.js"}, Links: p.o.Links, Program: p.o.Program}
}
