package store

import (
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Newest returns the newest good reading of each place that a probe reads, from the tail and from
// chunks, for each step and each form of the number.
func TestNewest(t *testing.T) {
	ctx := t.Context()
	s, _ := temporary(t)
	w := openWriter(t, s)
	begun := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	handle := func(probe, from, step string) Handle {
		h, err := w.Channel(Channel{Run: "Hall", Probe: probe, Step: step, Quantity: run.Current, From: from, Unit: "mA", Meter: "m"})
		if err != nil {
			t.Fatal(err)
		}
		return h
	}
	near, white, far, other := handle("board", "near", ""), handle("board", "near", "white"), handle("board", "far", ""), handle("meter", "near", "")
	put := func(h Handle, second int, text string, q reading.Quality) {
		t.Helper()
		if err := w.Append(ctx, []Sample{{Channel: h, Time: begun.Add(time.Duration(second) * time.Second), Text: text, Quality: q}}); err != nil {
			t.Fatal(err)
		}
	}
	check := func(at string, want map[string][2]float64) {
		t.Helper()
		got, err := s.Newest(ctx, "Hall")
		if err != nil || len(got) != len(want) {
			t.Errorf("%s: %+v, %v", at, got, err)
		}
		for _, x := range got {
			if v := want[x.Probe+" "+x.From]; x.Time.Sub(begun).Seconds() != v[0] || x.Value != v[1] {
				t.Errorf("%s: %s %s: %v %v, want %v", at, x.Probe, x.From, x.Time, x.Value, v)
			}
		}
	}
	check("nothing yet", nil)
	put(near, 1, "1000", 0)
	put(white, 2, "2000.0", 0)
	put(near, 3, "overload", reading.Overload)
	put(near, 4, "4000", reading.Unsettled)
	put(near, 5, "5000", reading.ClockUncertain)
	put(near, 6, "nan", reading.Faulty)
	put(far, 7, "7", reading.ClockUncertain)
	put(other, 1, "500", 0)
	want := map[string][2]float64{"board near": {2, 2}, "meter near": {1, 0.5}}
	check("in the tail", want)
	if err := w.Fold(ctx); err != nil {
		t.Fatal(err)
	}
	check("in chunks", want)
	put(near, 8, "8000", reading.ClockUncertain)
	put(other, 9, "900", 0)
	want["meter near"] = [2]float64{9, 0.9}
	check("in both", want)

	// The dates of imported readings say nothing about this machine's clock.
	imported := []reading.Reading{{Time: begun.AddDate(10, 0, 0), Quantity: run.Current, From: "near", Text: "1", Unit: "A", Meter: "m", Value: 1}}
	if _, _, err := s.Append(ctx, "Hall", "a.csv", imported); err != nil {
		t.Fatal(err)
	}
	check("imported", want)
}
