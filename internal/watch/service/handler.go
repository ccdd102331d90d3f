package service

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"

	"ohmkeep/internal/watch/metrics"
)

// handler returns the handler of all requests; done is closed when the watch ends.
func (d *Daemon) handler(done <-chan struct{}) http.Handler {
	mux := http.NewServeMux()
	handle := func(method, path string, h http.Handler) {
		mux.Handle(method+" "+path, h)
		mux.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) { // not left to the pages
			w.Header().Set("Allow", method)
			http.Error(w, path+" is for "+method, http.StatusMethodNotAllowed)
		})
	}
	handle(http.MethodGet, "/healthz", http.HandlerFunc(d.healthz))
	handle(http.MethodGet, "/status", http.HandlerFunc(d.status))
	handle(http.MethodPost, "/step", http.HandlerFunc(d.step))
	if d.config.Pages != nil {
		mux.Handle("/", d.config.Pages(view{d, done}))
	}
	handle(http.MethodGet, "/metrics", metrics.Handler(metrics.Source{Snapshot: d.recorder.Snapshot, Disk: d.disk, History: d.history.Load}))
	return mux
}

// healthz answers 200 while the watch is well and 503 while it is not, independent of the
// run's state, with both in words, the worse first.
func (d *Daemon) healthz(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	s := d.currentStatus()
	if !s.Well {
		w.WriteHeader(http.StatusServiceUnavailable)
	}
	for _, p := range s.Parts() {
		fmt.Fprintln(w, oneLine(p.Text))
		for _, detail := range p.Details {
			fmt.Fprintln(w, "  "+oneLine(detail))
		}
	}
}

// oneLine returns a text with every run of blanks and line ends as one blank.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func (d *Daemon) status(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(d.currentStatus()) // an error means that the client is gone
}

// Unit returns the symbol of the unit of a quantity in a Status.
func Unit(quantity string) string {
	return map[string]string{"voltage": "V", "current": "A", "temperature": "°C"}[quantity]
}
