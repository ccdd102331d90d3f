package fleet

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"sync"
	"time"

	"ohmkeep/internal/central/replica"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/site/watched"
)

// Followed is a run that is followed from the central database.
type Followed interface {
	watched.Source
	watched.Records
	Site() string             // name of its site
	Arrival() replica.Arrival // of its readings
	Ready() <-chan struct{}   // closed after the first analysis
	Close()
}

const (
	// mostOpen is how many runs are followed at once.
	mostOpen = 16
	// idleTime is how long a run is followed after the last request for one of its pages.
	idleTime = 15 * time.Minute
	// openTime is how long opening a run may take; other runs wait for it.
	openTime = 10 * time.Second
	// firstWait is how long the first page of a run waits for its analysis, so that a short one is
	// shown at once.
	firstWait = time.Second
)

// runKey is what a run is found by.
type runKey struct {
	site int64
	name string
}

// openRun is a run that is followed, with its pages.
type openRun struct {
	Followed
	pages  http.Handler
	active int       // requests that are being answered, open pages included
	used   time.Time // end of the newest request
}

// runs are the runs that are followed.
type runs struct {
	mu    sync.Mutex
	open  map[runKey]*openRun
	ended bool
}

// runLink returns the path of the pages of a run.
func runLink(site int64, name string) string {
	return siteLink(site) + "/run/" + url.PathEscape(name) + "/"
}

// run answers with a page of a run.
func (p *pages) run(w http.ResponseWriter, r *http.Request) {
	site, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil || p.Follow == nil {
		http.NotFound(w, r)
		return
	}
	key := runKey{site, r.PathValue("run")}
	of, err := p.enter(r.Context(), key)
	if f, ok := errors.AsType[fault.Fault](err); ok {
		http.Error(w, f.Text, http.StatusNotFound)
		return
	}
	if errors.Is(err, errTooMany) {
		w.Header().Set("Retry-After", "60")
		http.Error(w, err.Error(), http.StatusServiceUnavailable)
		return
	}
	if err != nil {
		p.unavailable(w, r, err)
		return
	}
	defer p.leave(of)
	if r.PathValue("page") == "" {
		select {
		case <-of.Ready():
		case <-time.After(firstWait):
		case <-r.Context().Done():
			return
		}
	}
	below := r.Clone(r.Context())
	below.URL.Path, below.URL.RawPath = "/"+r.PathValue("page"), ""
	of.pages.ServeHTTP(w, below)
}

var errTooMany = errors.New("the pages of " + strconv.Itoa(mostOpen) + " runs are open; close one of them")

// enter returns a run for a request, and opens it where it is not open. leave must be called after
// the request.
func (p *pages) enter(ctx context.Context, key runKey) (*openRun, error) {
	p.runs.mu.Lock()
	defer p.runs.mu.Unlock()
	of := p.runs.open[key]
	if of == nil {
		if p.runs.ended {
			return nil, context.Canceled
		}
		if len(p.runs.open) >= mostOpen && !p.closeOldest() {
			return nil, errTooMany
		}
		ctx, cancel := context.WithTimeout(ctx, openTime)
		defer cancel()
		followed, err := p.Follow(ctx, key.site, key.name)
		if err != nil {
			return nil, err
		}
		of = &openRun{Followed: followed}
		of.pages = watched.New(followed, followed, watched.Options{Streams: p.streams, Program: p.Program, Links: links(""), Now: p.Now,
			Away: func() watched.Arrival { return watched.Arrival(followed.Arrival()) },
			Back: &parts.Link{To: siteLink(key.site), Text: followed.Site()}})
		if p.runs.open == nil {
			p.runs.open = map[runKey]*openRun{}
		}
		p.runs.open[key] = of
	}
	of.active++
	return of, nil
}

// leave ends a request for a run.
func (p *pages) leave(of *openRun) {
	p.runs.mu.Lock()
	defer p.runs.mu.Unlock()
	of.active--
	of.used = p.Now()
}

// closeOldest closes the run without an open page that was not used for the longest time, and
// reports whether there is one. p.runs.mu is held.
func (p *pages) closeOldest() bool {
	var oldest runKey
	found := false
	for key, of := range p.runs.open {
		if of.active == 0 && (!found || of.used.Before(p.runs.open[oldest].used)) {
			oldest, found = key, true
		}
	}
	if found {
		p.runs.open[oldest].Close()
		delete(p.runs.open, oldest)
	}
	return found
}

// closeIdle closes runs that were not used for a while, and all when the context ends.
func (p *pages) closeIdle(ctx context.Context) {
	tick := time.NewTicker(time.Minute)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
		case <-ctx.Done():
		}
		p.runs.mu.Lock()
		p.runs.ended = ctx.Err() != nil
		for key, of := range p.runs.open {
			if p.runs.ended || of.active == 0 && p.Now().Sub(of.used) > idleTime {
				of.Close()
				delete(p.runs.open, key)
			}
		}
		p.runs.mu.Unlock()
		if p.runs.ended {
			return
		}
	}
}
