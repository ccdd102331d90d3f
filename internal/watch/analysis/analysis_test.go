package analysis

import (
	"log/slog"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/store"
)

// A note that is written weeks after the work has the same effect as one of the day: what was
// before and after is that of the joint, not of the change that was called meanwhile.
func TestLateNote(t *testing.T) {
	r := runtest.Parse(t, runtest.Gallery)
	begin := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	story := months.Scenario{Begin: begin, Days: 70, Every: 12 * time.Hour, Check: "check", CheckAt: 3 * time.Hour, Currents: true, TemperatureRead: true, DayCycle: 6, Season: 12,
		Change: func(day float64, p *plant.Plant, _ *rand.Rand) {
			if day > 25 && day < 45 {
				p.Joints[0].Plus += 0.030
			}
		}}
	s, err := store.Open(filepath.Join(t.TempDir(), "g.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, _, err := s.AppendSeq(t.Context(), r.Name, "board", months.Readings(r, story, 3)); err != nil {
		t.Fatal(err)
	}
	o := Options{Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return begin.AddDate(0, 0, 71) }}
	joint := func() history.Series {
		t.Helper()
		h, err := Run(t.Context(), s, r, o)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range h.Series {
			if x.Name == "west-north" {
				return x
			}
		}
		t.Fatal("the joint is not followed")
		return history.Series{}
	}
	if x := joint(); x.Verdict != history.Jumped || len(x.Changes) != 2 {
		t.Fatalf("without a note: %s, %+v", x.Verdict, x.Changes)
	}
	if err := s.Mark(t.Context(), r.Name, store.Mark{Time: begin.AddDate(0, 0, 45), Kind: store.MarkNote, Text: "re-made joint 1"}); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second analysis begins with the state of the first
		x := joint()
		if x.Verdict != history.Steady || len(x.Changes) != 1 || len(x.Marks) != 1 || x.Marks[0].Before-x.Marks[0].After < 0.025 {
			t.Errorf("with the note: %s, %+v, %+v", x.Verdict, x.Changes, x.Marks)
		}
	}
}
