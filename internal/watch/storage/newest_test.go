package storage

import (
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/machine"
)

// The earliest time that the clock may show is that of the newest reading with a certain date, and
// no earlier than this program.
func TestNewest(t *testing.T) {
	t.Chdir(t.TempDir())
	kept, err := store.Open("a.db")
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	if floor, before, err := newestOf(t.Context(), kept); err != nil || !floor.Equal(machine.Earliest) || len(before) != 0 {
		t.Errorf("an empty store: %v, %v, %v", floor, before, err)
	}
	w, err := kept.Writer(t.Context(), store.Owner{Name: "test"})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	h, err := w.Channel(store.Channel{Run: "Hall", Probe: "board", Quantity: run.Current, From: "near", Unit: "mA", Meter: "m"})
	if err != nil {
		t.Fatal(err)
	}
	certain := machine.Earliest.AddDate(1, 0, 0)
	samples := []store.Sample{{Channel: h, Time: certain, Text: "2310"},
		{Channel: h, Time: certain.Add(time.Hour), Text: "1", Quality: reading.ClockUncertain},
		{Channel: h, Time: certain.Add(time.Hour), Text: "inf", Quality: reading.Overload}}
	if err := w.Append(t.Context(), samples); err != nil {
		t.Fatal(err)
	}
	floor, before, err := newestOf(t.Context(), kept)
	if err != nil || !floor.Equal(certain) || len(before) != 1 || before[0].Value != 2.31 || before[0].Probe != "board" {
		t.Errorf("%v, %+v, %v", floor, before, err)
	}
}
