package fleet

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/web/access"
)

var noon = time.Date(2031, 3, 4, 12, 0, 0, 0, time.UTC)

// fakeFirm is an invented firm.
type fakeFirm struct {
	sites       []*firm.Site
	comparisons []firm.Comparison
	broken      bool
	followed    map[string]*followed // those that were opened, by "site run"
}

var errBroken = errors.New("postgres://ohmkeep@central.example/ohmkeep: does not answer")

func (f *fakeFirm) fault() error {
	if f.broken {
		return errBroken
	}
	return nil
}

// invent returns a firm with a site of each severity.
func invent() *fakeFirm {
	nan := math.NaN()
	heard := noon.Add(-5 * time.Minute)
	joint := firm.Cause{Source: "drift", Kind: "joint", Name: "west-north", Rail: "loop", Verdict: "stepped", Ohms: 0.0338, Low: 0.0331, High: 0.0345, Limit: 0.015, Since: noon.AddDate(0, 0, -20)}
	feed := firm.Cause{Source: "drift", Kind: "feed", Name: "far", Rail: "plus", Verdict: "drifting", Ohms: 0.1181, Low: 0.1172, High: 0.119, Limit: 0.125, Since: noon.AddDate(0, 0, -90), Reaches: noon.AddDate(0, 0, 60)}
	open := firm.Cause{Source: "assess", Kind: "joint", Name: "east-south", Rail: "loop", Verdict: "fail", Ohms: nan, Low: 12, High: nan, Limit: 0.015}
	return &fakeFirm{
		sites: []*firm.Site{
			{ID: 7, Name: "Map room <b>", Label: "museum, north wing", Place: "2 Harbour", Severity: firm.Failing, Since: joint.Since, Runs: []firm.Run{
				{Name: "Cornice", Heard: heard, Arrived: heard, Installer: "Workshop East", Elements: 12, Unproven: 1, Causes: []firm.Cause{joint, feed}},
				{Name: "Plinth", Heard: heard, Elements: 4, Causes: []firm.Cause{open, joint, feed}}}},
			{ID: 3, Name: "Lamp shop window", Place: "4 Castle hill", Severity: firm.Silent, Since: noon.AddDate(0, 0, -3), Runs: []firm.Run{{Name: "Window", Heard: noon.AddDate(0, 0, -3), Elements: 3}}},
			{ID: 4, Name: "Observatory stairs", Place: "5 Mill lane", Severity: firm.Unproven, Runs: []firm.Run{{Name: "Stairs", Heard: heard, Elements: 6, Unproven: 6}}},
			{ID: 9, Name: "Boat house", Label: "jetty", Place: "2 Harbour", Severity: firm.Sound, Runs: []firm.Run{{Name: "Jetty", Heard: heard, Elements: 9}}},
			{ID: 5, Name: "Weir", Severity: firm.InRepair, Repair: noon.AddDate(0, 0, 2)},
		},
		comparisons: []firm.Comparison{
			{By: "joint type", Group: "crimp <small>", Kind: "joint", Runs: 40, Others: 60, PerYear: 0.081, Difference: 0.062, Low: 0.031, High: 0.093, P: 0.0002, Significant: true},
			{By: "installer", Group: "Workshop East", Kind: "feed", Runs: 12, Others: 88, PerYear: 0.012, Difference: -0.004, Low: -0.021, High: 0.013, P: 0.61},
			{By: "strip batch", Group: "K7", Kind: "reel", Runs: 2, Others: 98, PerYear: 0.02, Difference: 0.01, Low: math.Inf(-1), High: math.Inf(1), P: nan},
		},
	}
}

// many adds so many sound sites.
func (f *fakeFirm) many(n int) *fakeFirm {
	for i := range n {
		f.sites = append(f.sites, &firm.Site{ID: int64(100 + i), Name: fmt.Sprintf("Site %04d", i), Place: fmt.Sprint(i % 17), Severity: firm.Sound,
			Runs: []firm.Run{{Name: "Shelf", Heard: noon, Elements: 40}}})
	}
	return f
}

// serve serves the pages of an invented firm.
func serve(t testing.TB, f *fakeFirm, o access.Options) *httptest.Server {
	t.Helper()
	s := httptest.NewServer(guarded(t, f, o))
	t.Cleanup(s.Close)
	return s
}

// guarded returns the pages of an invented firm behind its doors.
func guarded(t testing.TB, f *fakeFirm, o access.Options) http.Handler {
	t.Helper()
	o.Address, o.Log = "127.0.0.1:0", slog.New(slog.DiscardHandler)
	guard, err := access.New(o)
	if err != nil {
		t.Fatal(err)
	}
	return guard.Handler(New(t.Context(), Config{MaxStreams: 32, Program: "1.2.3", Now: func() time.Time { return noon }, Log: slog.New(slog.DiscardHandler),
		Sites:       func(context.Context) ([]*firm.Site, error) { return f.sites, f.fault() },
		Comparisons: func(context.Context) ([]firm.Comparison, error) { return f.comparisons, f.fault() },
		Follow:      f.follow,
	}), "/files/")
}

// get returns the status and the text of a page.
func get(t testing.TB, address string) (int, string) {
	t.Helper()
	return getBy(t, http.DefaultClient, address)
}

// getBy is get by a client of its own.
func getBy(t testing.TB, client *http.Client, address string) (int, string) {
	t.Helper()
	r, err := client.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(text)
}
