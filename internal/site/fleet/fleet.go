// Package fleet is the pages of a firm's sites in a browser: which of them need a visit first and
// why, and the comparisons of joint types, strip batches, conductors and installers.
//
// The pages only read, and need no script: each is made from the central database when it is
// requested. They show the same words as the command that lists the sites.
//
//	GET /             the sites, those first that need a visit most; ?severity= and ?q= choose some
//	GET /site/{id}    one site: what fails in each of its runs
//	GET /comparisons  the comparisons across runs
//
//	GET /site/{id}/run/{run}/   the pages of one run, as its watch shows them (package watched)
//
// A run is followed while a page of it is open, and for a while after.
package fleet

import (
	"context"
	"embed"
	"log/slog"
	"net/http"
	"time"

	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/site/watched"
)

//go:embed *.html *.css
var files embed.FS

// Config is what the pages are made of.
type Config struct {
	Sites       func(context.Context) ([]*firm.Site, error) // those first that need a visit most
	Comparisons func(context.Context) ([]firm.Comparison, error)
	Follow      func(ctx context.Context, site int64, run string) (Followed, error) // opens a run; a fault.Fault where it cannot
	MaxStreams  int                                                                 // largest number of responses that may be held without an end, for all runs
	Program     string                                                              // version of the program
	Log         *slog.Logger
	Now         func() time.Time // nil: time.Now
}

// pages are the pages of a firm.
type pages struct {
	Config
	runs    runs
	streams *parts.Streams
}

// New returns the handler of the pages, which may be called from any goroutine. Runs that are
// followed are closed when the context ends.
func New(ctx context.Context, c Config) http.Handler {
	if c.Now == nil {
		c.Now = time.Now
	}
	p := &pages{Config: c, streams: parts.NewStreams(c.MaxStreams, ctx.Done())}
	go p.closeIdle(ctx)
	mux := http.NewServeMux()
	mux.Handle("GET "+parts.Root, parts.Files(files, watched.Files()))
	mux.HandleFunc("GET /{$}", p.sites)
	mux.HandleFunc("GET /site/{id}", p.site)
	mux.HandleFunc("GET /comparisons", p.comparisons)
	mux.HandleFunc("GET /site/{id}/run/{run}/{page...}", p.run)
	return mux
}

// links returns the links to the firm's pages; here is the path of the one that is shown.
func links(here string) []parts.Link {
	return []parts.Link{{To: "/", Text: "Sites", Here: here == "/"}, {To: "/comparisons", Text: "Comparisons", Here: here == "/comparisons"}}
}

// head returns what a page says of itself.
func (p *pages) head(title, path string) parts.Head {
	return parts.Head{Title: title, Styles: []string{"fleet.css"}, Links: links(path), Program: p.Program}
}

// unavailable answers while the central database cannot be read. Its address is for the log alone.
func (p *pages) unavailable(w http.ResponseWriter, r *http.Request, err error) {
	if r.Context().Err() != nil {
		return // the client is gone
	}
	p.Log.Error("the central database cannot be read", "why", err)
	w.Header().Set("Retry-After", "15")
	http.Error(w, "the central database cannot be read now; the log of this server says why", http.StatusServiceUnavailable)
}
