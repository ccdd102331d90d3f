package store

import (
	"context"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run"
)

// cornice is an invented run.
var cornice = &run.Run{
	Name:     "Map room cornice", // invented
	Supplies: []run.Supply{{Name: "A"}},
	Reels:    []run.Reel{{Name: "west", Pixels: 240, Follows: -1}},
	Feeds:    []run.Feed{{Name: "near"}},
	Steps:    []run.Step{{Name: "dark"}, {Name: "white 5 %"}},
	Meters: []run.Meter{{Name: "hand", Ranges: []run.Range{
		{Quantity: run.Voltage, UpTo: 60}, {Quantity: run.Current, UpTo: 10}, {Quantity: run.Temperature, UpTo: 100}}}},
}

// start is the time of the first reading of scans.
var start = time.Date(2026, 3, 1, 19, 30, 0, 0, time.FixedZone("", 3600))

// scans returns n readings, 16 of each second, from second number from.
func scans(from, n int) []reading.Reading {
	readings := make([]reading.Reading, n)
	for i := range readings {
		pixel := strconv.Itoa(i%16*15 + 1)
		x := reading.Reading{
			Time: start.Add(time.Duration(from+i/16) * time.Second), Step: "white 5 %",
			From: "west." + pixel + "+", To: "west." + pixel + "-",
			Text: "4." + strconv.Itoa(800000+i%1000), Unit: "V", Meter: "hand",
		}
		x.Value, _ = strconv.ParseFloat(x.Text, 64)
		readings[i] = x
	}
	return readings
}

func temporary(t testing.TB) (*Store, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "cornice.store")
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s, path
}

func add(t testing.TB, s *Store, source string, readings []reading.Reading) (added, duplicates int) {
	t.Helper()
	added, duplicates, err := s.Append(context.Background(), cornice.Name, source, readings)
	if err != nil {
		t.Fatal(err)
	}
	return added, duplicates
}

func all(t testing.TB, s *Store, f Filter) []reading.Reading {
	t.Helper()
	var readings []reading.Reading
	for x, err := range s.Readings(context.Background(), cornice.Name, f) {
		if err != nil {
			t.Fatal(err)
		}
		readings = append(readings, x)
	}
	return readings
}

func export(t testing.TB, s *Store) string {
	t.Helper()
	var b strings.Builder
	if err := csv.WriteSeq(&b, s.Readings(context.Background(), cornice.Name, Filter{})); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func parse(t testing.TB, text string) []reading.Reading {
	t.Helper()
	set, err := csv.Parse("r.csv", strings.NewReader(text), cornice)
	if err != nil {
		t.Fatal(err)
	}
	return set.Readings
}
