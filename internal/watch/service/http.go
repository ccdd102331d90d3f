package service

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/watch/metrics"
	"ohmkeep/internal/watch/recorder"
)

func (d *Daemon) handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /healthz", d.healthz)
	mux.HandleFunc("GET /status", d.status)
	mux.HandleFunc("POST /step", d.step)
	mux.HandleFunc("GET /{$}", d.page)
	mux.Handle("GET /metrics", metrics.Handler(metrics.Source{Snapshot: d.recorder.Snapshot, Disk: d.disk, History: d.history.Load}))
	return mux
}

// Status is the answer to GET /status.
type Status struct {
	Schema  int      `json:"schema"`
	Well    bool     `json:"well"`
	Reasons []string `json:"reasons"` // why not
	Notes   []string `json:"notes"`   // what somebody should know though all is well
	recorder.Snapshot
	Disk *Disk `json:"disk"` // nil = not known
}

// Disk is what the store lies on, in bytes.
type Disk struct {
	Store   int64 `json:"store_bytes"`
	Free    int64 `json:"free_bytes"`
	Size    int64 `json:"size_bytes"`
	Written int64 `json:"device_written_bytes"` // since boot, by all programs; -1 = not known
}

func (d *Daemon) look() Status {
	s := Status{Schema: 1, Reasons: []string{}, Notes: []string{}, Snapshot: d.recorder.Snapshot()}
	if !d.ready.Load() {
		s.Reasons = append(s.Reasons, "starting")
	}
	s.Reasons = append(s.Reasons, s.Snapshot.Reasons()...)
	if disk, err := d.disk(); err == nil {
		s.Disk = &Disk{disk.Store, disk.Free, disk.Size, disk.Written}
	}
	s.Well = len(s.Reasons) == 0
	if why := d.refused.Load(); why != nil {
		s.Notes = append(s.Notes, "the newest run file is refused: "+*why)
	}
	if d.config.Notes != nil {
		s.Notes = append(s.Notes, d.config.Notes()...)
	}
	s.Notes = append(s.Notes, d.plan.Load().Run.ParallelWarnings()...)
	if !s.Certain {
		s.Notes = append(s.Notes, "the dates of readings are uncertain: nobody vouches for this machine's clock")
	}
	for _, p := range s.Probes {
		switch p.Source {
		case "simulated":
			s.Notes = append(s.Notes, "probe "+p.Name+" is simulated: nothing it says was measured")
		case "transcript":
			s.Notes = append(s.Notes, "probe "+p.Name+" repeats a transcript: what it says was measured at another time")
		}
	}
	if s.Dropped+s.Refused > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("%d readings were lost", s.Dropped+s.Refused))
	}
	return s
}

func (d *Daemon) disk() (metrics.Disk, error) {
	if d.config.Disk == nil {
		return metrics.Disk{}, errors.ErrUnsupported
	}
	return d.config.Disk()
}

// healthz answers 200 while all is well, otherwise 503 and what is not, a line each.
func (d *Daemon) healthz(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	s := d.look()
	if s.Well {
		fmt.Fprintln(w, "well")
		return
	}
	w.WriteHeader(http.StatusServiceUnavailable)
	for _, reason := range s.Reasons {
		fmt.Fprintln(w, oneLine(reason))
	}
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func (d *Daemon) status(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(d.look()) // whoever asked is gone
}

// mostBody is more than any step's name takes.
const mostBody = 4096

// step takes the name of the step that is shown from now on: as the body itself,
// as a form's or a JSON object's "step", or as ?step=. An empty name says that it
// is not known. settle, in seconds, is how long it takes to come up.
func (d *Daemon) step(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, mostBody))
	if err != nil {
		http.Error(w, "the body is too long", http.StatusRequestEntityTooLarge)
		return
	}
	name, settle, err := announcement(r.URL.Query(), r.Header.Get("Content-Type"), strings.TrimRight(string(body), "\r\n"))
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	if err := d.recorder.Announce(name, settle); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// announcement reads a step's name and how long it takes to come up.
func announcement(query url.Values, content, body string) (name string, settle time.Duration, err error) {
	kind, _, _ := mime.ParseMediaType(content)
	form := query
	switch {
	case kind == "application/json":
		var object struct {
			Step   *string `json:"step"`
			Settle float64 `json:"settle"`
		}
		if err := json.Unmarshal([]byte(body), &object); err != nil || object.Step == nil {
			return "", 0, fault.Fault{Text: "the body is no JSON object with a text named step"}
		}
		settle, err := settling(object.Settle)
		return *object.Step, settle, err
	case strings.HasPrefix(body, "step="): // what a form sends, whatever it says it is
		if form, err = url.ParseQuery(body); err != nil {
			return "", 0, fault.Fault{Text: "the body is no form"}
		}
	case body != "":
		name = body
	}
	if name == "" {
		name = form.Get("step")
	}
	text := form.Get("settle")
	if text == "" {
		text = query.Get("settle")
	}
	if text == "" {
		return name, 0, nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		x = -1 // no number of seconds either
	}
	settle, err = settling(x)
	return name, settle, err
}

// settling checks how long a step takes to come up, in seconds.
func settling(x float64) (time.Duration, error) {
	if !(x >= 0 && x <= 3600) {
		return 0, fault.Fault{Key: "settle", Text: "is no number of seconds", Hint: "0 to 3600"}
	}
	return time.Duration(x * float64(time.Second)), nil
}

//go:embed page.html
var pageText string

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"value": func(x float64) string { return fmt.Sprintf("%.6g", x) },
	"age":   func(x float64) string { return fmt.Sprintf("%.1f", x) },
	"mega":  func(n int64) string { return fmt.Sprintf("%.1f MB", float64(n)/1e6) },
	"giga":  func(n int64) string { return fmt.Sprintf("%.1f GB", float64(n)/1e9) },
}).Parse(pageText))

func (d *Daemon) page(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
	_ = pageTemplate.Execute(w, d.look()) // whoever asked is gone
}
