package cli

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/analysis"
)

// A watch that analyses every few nights, each time as if it had just been started, says
// a change once, and its metrics are what the drift command finds in the same store.
func TestNightlyIsDrift(t *testing.T) {
	s := newParallelSession(t)
	s.board(70, 0.030, 40, 1e9)
	e, err := loadRun(s.path("gallery.toml"))
	if err != nil {
		t.Fatal(err)
	}
	set, err := csv.Parse("months.csv", strings.NewReader(s.content("months.csv")), e.Run)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := store.Open(s.path("g.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	var log bytes.Buffer
	var found *history.History
	o := analysis.Options{Log: slog.New(slog.NewTextHandler(&log, nil)), Now: func() time.Time { return spring.AddDate(0, 0, 71) }}
	for day, i := 7, 0; day <= 70; day += 7 {
		from := i
		end := spring.AddDate(0, 0, day).Add(4 * time.Hour) // in the middle of a day
		for i < len(set.Readings) && set.Readings[i].Time.Before(end) {
			i++
		}
		if _, _, err := kept.Append(context.Background(), e.Name, "board", set.Readings[from:i]); err != nil {
			t.Fatal(err)
		}
		if found, err = analysis.Run(t.Context(), kept, e.Run, o); err != nil {
			t.Fatal(err)
		}
	}
	if calls := strings.Count(log.String(), "a resistance has changed"); calls != 1 || !strings.Contains(log.String(), "name=west-north what=step") {
		t.Errorf("%d calls:\n%s", calls, log.String())
	}
	if len(found.Series) != 4 || spring.AddDate(0, 0, 71).Sub(found.Check) > 48*time.Hour {
		t.Fatalf("%+v", found)
	}
	drift := decoded(t, s.do("ohmkeep drift gallery.toml --store g.db --json").exits(Fails).out)["series"].([]any)
	for i, x := range found.Series {
		of := drift[i].(map[string]any)
		if fmt.Sprintf("%v %v %v %.6g %.6g", of["kind"], of["name"], of["verdict"], of["milliohms"], of["limit_milliohms"]) !=
			fmt.Sprintf("%v %v %v %.6g %.6g", x.Kind, x.Name, x.Verdict, 1e3*x.Ohms, 1e3*x.Limit) {
			t.Errorf("metrics %+v\ndrift %v", x, of)
		}
	}
	// A state of an unknown version is computed again from the readings.
	if err := kept.SetState(t.Context(), e.Name, "drift", 99, []byte("x")); err != nil {
		t.Fatal(err)
	}
	again, err := analysis.Run(t.Context(), kept, e.Run, o)
	if err != nil || fmt.Sprint(again.Series) != fmt.Sprint(found.Series) {
		t.Errorf("%v\n%v\n%v", err, again, found)
	}
}
