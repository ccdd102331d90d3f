package service

import (
	"net/http"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/web/server"
)

// Pages makes the handler of everything that the service does not answer itself, from the watch
// that the pages show.
type Pages func(Watch) http.Handler

// Watch is a running watch, as its pages use it. Its methods may be called from any goroutine;
// none of them waits for the store.
type Watch interface {
	Status() Status
	Run() *run.Run             // the one in force; it is not changed, a reload puts another in its place
	History() *history.History // of the newest analysis; nil: there was none
	// Announce states the step that the run shows from now on; see recorder.Recorder.
	Announce(step string, settle time.Duration, sender string) error
	// AnalyseSoon asks for an analysis before that of the night, as after a note.
	AnalyseSoon()
	// Done is closed when the watch ends. A response that does not end by itself ends then.
	Done() <-chan struct{}
	// MaxStreams is the largest number of responses that may be held without an end, so that
	// connections are left for everything else.
	MaxStreams() int
}

// view is a Daemon as a Watch.
type view struct {
	*Daemon
	done <-chan struct{}
}

func (v view) Status() Status            { return v.currentStatus() }
func (v view) Run() *run.Run             { return v.plan.Load().Run }
func (v view) History() *history.History { return v.history.Load() }
func (v view) Done() <-chan struct{}     { return v.done }
func (v view) MaxStreams() int           { return server.ConnectionLimit() / 2 }

func (v view) Announce(step string, settle time.Duration, sender string) error {
	return v.recorder.Announce(step, settle, sender)
}

func (v view) AnalyseSoon() {
	select {
	case v.analysisWanted <- struct{}{}:
	default: // one is wanted already
	}
}
