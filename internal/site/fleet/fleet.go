// Package fleet is the pages of a firm's sites in a browser: which of them need a visit first and
// why, and the comparisons of joint types, strip batches, conductors and installers.
//
// The pages only read, and need no script: each is made from the central database when it is
// requested. They show the same words as the command that lists the sites.
//
//	GET /             the sites, those first that need a visit most; ?severity= and ?q= choose some
//	GET /site/{id}    one site: what fails in each of its runs
//	GET /comparisons  the comparisons across runs
package fleet

import (
	"context"
	"embed"
	"log/slog"
	"net/http"
	"time"

	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/site/parts"
)

//go:embed *.html *.css
var files embed.FS

// Config is what the pages are made of.
type Config struct {
	Sites       func(context.Context) ([]*fleet.Site, error) // those first that need a visit most
	Comparisons func(context.Context) ([]fleet.Comparison, error)
	Program     string // version of the program
	Log         *slog.Logger
	Now         func() time.Time // nil: time.Now
}

// pages are the pages of a firm.
type pages struct{ Config }

// New returns the handler of the pages. It may be called from any goroutine.
func New(c Config) http.Handler {
	if c.Now == nil {
		c.Now = time.Now
	}
	p := &pages{c}
	mux := http.NewServeMux()
	mux.Handle("GET "+parts.Root, parts.Files(files))
	mux.HandleFunc("GET /{$}", p.sites)
	mux.HandleFunc("GET /site/{id}", p.site)
	mux.HandleFunc("GET /comparisons", p.comparisons)
	return mux
}

// Links returns the links of every page to the pages that it does not depend on; here is the path
// of the one that is shown.
func Links(here string) []parts.Link {
	return []parts.Link{{To: "/", Text: "Sites", Here: here == "/"}, {To: "/comparisons", Text: "Comparisons", Here: here == "/comparisons"}}
}

// head returns what a page says of itself.
func (p *pages) head(title, path string) parts.Head {
	return parts.Head{Title: title, Styles: []string{"fleet.css"}, Links: Links(path), Program: p.Program}
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
