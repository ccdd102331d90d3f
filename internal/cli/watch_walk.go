package cli

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"ohmkeep/internal/guide"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/run"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/site/walking"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/probe"
	"ohmkeep/internal/watch/service"
	"ohmkeep/internal/web/access"
)

// walkIdle is how long a walk without an open page is kept in memory.
const walkIdle = 15 * time.Minute

// watchedWalk is the page of a walk beside the pages of a watch. A walk costs nothing until the page is opened,
// and nothing once it was left.
type watchedWalk struct {
	watch service.Watch
	path  string // of the store
	links []parts.Link

	mu      sync.Mutex
	run     *run.Run // of the walk in memory; nil = there is none
	session *guide.Session
	pages   http.Handler
	end     func()
	idle    *time.Timer
}

// ServeHTTP answers what concerns the walk.
func (p *watchedWalk) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	pages, err := p.open()
	if err != nil {
		http.Error(w, err.Error(), http.StatusServiceUnavailable)
		return
	}
	pages.ServeHTTP(w, r)
}

// open returns the pages of the walk along the run that is in force.
func (p *watchedWalk) open() (http.Handler, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	select {
	case <-p.watch.Done():
		return nil, errors.New("the watch ends")
	default:
	}
	if now := p.watch.Run(); p.run != now {
		p.close()
		kept, err := store.Open(p.path)
		if err != nil {
			return nil, err
		}
		p.begin(now, kept)
	}
	p.idle.Reset(walkIdle)
	return p.pages, nil
}

// begin begins to conduct the walk. The caller holds p.mu.
func (p *watchedWalk) begin(r *run.Run, kept *store.Store) {
	ctx, stop := context.WithCancel(context.Background())
	carried, absent := carriedMeters(r)
	s := guide.New(guide.Config{Run: r, Store: kept, Own: len(r.OwnMeters()), Probes: carried, Absent: absent})
	pages := walking.New(walking.Config{Session: s, Run: r, Streams: parts.NewStreams(p.watch.MaxStreams()/2, ctx.Done()), Links: p.links, Program: version(),
		Next:     "The page of the watch shows what is known of every element, and what to do.",
		MayWrite: func(r *http.Request) bool { return access.VisitorOf(r).MayWrite }})
	var ended sync.WaitGroup
	ended.Go(func() {
		if err := s.Prepare(ctx); err != nil {
			s.Fail(err)
			return
		}
		s.Run(ctx)
	})
	ended.Go(func() { pages.Run(ctx) })
	p.run, p.session, p.pages = r, s, pages.Handler()
	p.end = func() {
		stop()
		ended.Wait()
		closeProbes(carried)
		_ = kept.Close() // each event is on disk
	}
	p.idle = time.AfterFunc(walkIdle, func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.run != r {
			return
		}
		if pages.Open() > 0 {
			p.idle.Reset(walkIdle)
			return
		}
		p.close()
	})
}

// carriedMeters returns the meters of a run file that are carried: the probes of which no channel has its place.
// The recorder leaves their ports alone, and each is opened when the walk measures with it. absent says why others
// are not used, in words.
func carriedMeters(r *run.Run) (list []survey.Probe, absent []string) {
	dir := filepath.Dir(r.File)
	opener := &probe.Opener{Run: r, Dir: dir}
	for _, p := range r.Probes {
		carried := slices.DeleteFunc(slices.Clone(p.Channels), func(c run.ProbeChannel) bool { return c.From != "" })
		device, err := profile.Load(p.Profile, dir)
		switch {
		case len(carried) == 0 || p.Port == probe.Simulated || strings.HasPrefix(p.Port, probe.Transcript):
		case len(carried) < len(p.Channels):
			absent = append(absent, "Probe "+p.Name+" also has channels with a place, which the watch reads: it cannot be carried. Type what it shows.")
		case err != nil:
			absent = append(absent, fmt.Sprintf("Probe %s: %v. Type what it shows.", p.Name, err))
		default:
			list = append(list, survey.Probe{Probe: p, Device: opener.Reopen(p, device)})
		}
	}
	return list, absent
}

// close ends the walk in memory. The caller holds p.mu.
func (p *watchedWalk) close() {
	if p.run == nil {
		return
	}
	p.idle.Stop()
	p.end()
	p.run = nil
}

// shut ends the walk when the watch ends.
func (p *watchedWalk) shut() {
	<-p.watch.Done()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.close()
}
