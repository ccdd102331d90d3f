package csv_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run"
)

func write(t testing.TB, readings []reading.Reading) string {
	t.Helper()
	var b strings.Builder
	if err := csv.Write(&b, readings); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestWriteGivesTheSameBytes(t *testing.T) {
	text := head +
		row("value", "+4.8120E+0") +
		row("time", "2026-03-01T19:30:00.25-03:30", "unit", "µV", "value", "007") +
		row("step", `"""all"", on"`) +
		row("time", "1970-01-01T00:00:00Z", "step", "", "quantity", "current", "from", "far", "to", "", "unit", "uA", "meter", "clamp") +
		row("time", "2262-04-11T23:47:16.854775807Z", "quantity", "temperature", "from", "near", "to", "", "unit", "°C")
	if got := write(t, parse(t, text).Readings); got != text {
		t.Errorf("got\n%swant\n%s", got, text)
	}
	if got := write(t, nil); got != head {
		t.Errorf("no readings: %q", got)
	}
}

// Times do not take the name of this machine's zone, even where its offset is the same.
func TestOffsetIsAllThatIsKept(t *testing.T) {
	here := time.Local
	defer func() { time.Local = here }()
	time.Local = time.FixedZone("HERE", 3600)
	if name, offset := parse(t, head+row()).Readings[0].Time.Zone(); name != "" || offset != 3600 {
		t.Errorf("zone %q, offset %d", name, offset)
	}
}

func TestWriteTellsErrors(t *testing.T) {
	full := errors.New("full")
	readings := parse(t, many(1000)).Readings
	if err := csv.Write(failing{full}, readings); !errors.Is(err, full) {
		t.Errorf("got %v", err)
	}
	cut := func(yield func(reading.Reading, error) bool) { yield(reading.Reading{}, full) }
	if err := csv.WriteSeq(&strings.Builder{}, cut); !errors.Is(err, full) {
		t.Errorf("got %v", err)
	}
}

// What could be read is written before the error is returned: the readable part of a
// damaged store.
func TestWriteGivesAllBeforeAnError(t *testing.T) {
	text := head + row() + row("value", "4.8")
	readings := parse(t, text).Readings
	broken := errors.New("the rest is broken")
	var b strings.Builder
	err := csv.WriteSeq(&b, func(yield func(reading.Reading, error) bool) {
		_ = yield(readings[0], nil) && yield(readings[1], nil) && yield(reading.Reading{}, broken)
	})
	if !errors.Is(err, broken) || b.String() != text {
		t.Errorf("%v after\n%s", err, b.String())
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// FuzzParse holds that no bytes bring Parse down, that a reading it takes is
// finite and stands at places of the run, and that what it took can be written
// and read again without a change.
func FuzzParse(f *testing.F) {
	f.Add([]byte(head + row()))
	f.Add([]byte("\ufeff" + strings.ReplaceAll(head+row("step", `"""all"", on"`)+row(), "\n", "\r\n")))
	f.Add([]byte(head + row("quantity", "current", "from", "near", "to", "", "value", "-1.5E-3", "unit", "µA", "meter", "")))
	f.Add([]byte(head + row("quantity", "temperature", "from", "north", "to", "", "unit", "°C", "time", "2026-01-01T00:00:00.123-00:30")))
	f.Add([]byte(head + row("step", `"open`) + "\n\r\n" + row("value", "9.9E37") + row()))
	f.Add([]byte(head + row("step", "\"two\r\nlines\"") + `"` + row()))
	f.Add([]byte("sep=;\n" + strings.ReplaceAll(head+row("time", "01.03.2026 19:30", "value", "4.80")+row("value", "OL"), ",", ";")))
	f.Add([]byte(head + row("value", `"1,234"`, "unit", "mV") + row("value", `"12,5"`) + row("value", "1.234", "unit", "")))
	f.Add([]byte(strings.ReplaceAll(head+row("time", "3/1/2026 7:30 PM"), ",", "\t")))
	f.Fuzz(func(t *testing.T, data []byte) {
		set, err := csv.ParseGood("f", strings.NewReader(string(data)), cornice)
		if err != nil {
			return
		}
		lines := strings.Count(string(data), "\n") + strings.Count(string(data), "\r") + 1 // at most
		for _, x := range set.Readings {
			if math.IsNaN(x.Value) || math.IsInf(x.Value, 0) || x.Row < 2 || x.Row > lines || cornice.MeterIndex(x.Meter) < 0 {
				t.Errorf("reading %+v", x)
			}
			for _, name := range []string{x.From, x.To} {
				if _, err := cornice.Point(name); err != nil && x.Quantity == run.Voltage {
					t.Errorf("point %q: %v", name, err)
				}
			}
		}
		for _, bad := range set.Bad {
			if bad.Line < 1 || bad.Line > lines || bad.Text == "" {
				t.Errorf("fault %+v in %d lines", bad, lines)
			}
		}
		first := write(t, set.Readings)
		again, err := csv.Parse("f", strings.NewReader(first), cornice)
		if err != nil || len(again.Readings) != len(set.Readings) {
			t.Fatalf("read again: %v\n%s", err, first)
		}
		for i, x := range again.Readings {
			x.Row = set.Readings[i].Row
			before := set.Readings[i]
			if !x.Time.Equal(before.Time) {
				t.Errorf("time %v became %v", before.Time, x.Time)
			}
			x.Time, before.Time = time.Time{}, time.Time{}
			if x != before {
				t.Errorf("%+v became %+v", before, x)
			}
		}
		if second := write(t, again.Readings); second != first {
			t.Errorf("written again:\n%s\nfirst:\n%s", second, first)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	const n = 10_000
	text := many(n)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		set, err := csv.Parse("b", strings.NewReader(text), cornice)
		if err != nil || len(set.Readings) != n {
			b.Fatal(len(set.Readings), err)
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}
