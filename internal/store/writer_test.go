package store

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store/internal/decimal"
)

// months generates what a board with eight places sends: bus and shunt voltage of a place in one
// line, each line at a moment of its own. Values are register counts of 1.25 mV and 2.5 µV, with
// noise of about one count, drift, and the load of an animation. Times are in ms, with jitter. It
// is invented.
type months struct {
	random *rand.Rand
	w      *Writer
	places [8]struct {
		bus, shunt Handle
		level      float64
		phase      time.Duration
	}
	at time.Time
	n  int
}

func newMonths(t testing.TB, w *Writer) *months {
	m := &months{random: rand.New(rand.NewPCG(11, 12)), w: w, at: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}
	for i := range m.places {
		var err error
		c := Channel{Run: cornice.Name, Probe: "board", Quantity: run.Voltage, Unit: "V", Meter: "board",
			From: fmt.Sprintf("west.%d+", 1+i*30), To: fmt.Sprintf("west.%d-", 1+i*30), Scale: "0.00125"}
		if m.places[i].bus, err = w.Channel(c); err != nil {
			t.Fatal(err)
		}
		c = Channel{Run: cornice.Name, Probe: "board", Quantity: run.Current, Unit: "A", Meter: "board",
			From: fmt.Sprintf("feed %d", i), Scale: "0.00125"}
		if m.places[i].shunt, err = w.Channel(c); err != nil {
			t.Fatal(err)
		}
		m.places[i].level = 0.5
		m.places[i].phase = time.Duration(i*40) * time.Millisecond
	}
	return m
}

// scan appends the samples of one second.
func (m *months) scan(to []Sample) []Sample {
	for i := range m.places {
		p := &m.places[i]
		if m.random.IntN(300) == 0 { // the animation's next picture
			p.level = m.random.Float64()
		}
		drift := 20 * math.Sin(float64(m.n)/86400*2*math.Pi)
		shunt := 2000*p.level + drift + m.random.NormFloat64()
		bus := 4000 - 100*p.level + drift/10 + m.random.NormFloat64()
		at := m.at.Add(p.phase + time.Duration(math.Round(m.random.NormFloat64()*1.5))*time.Millisecond)
		to = append(to,
			Sample{Channel: p.bus, Time: at, Mono: at.Sub(monthsBoot), Count: int64(math.Round(bus))},
			Sample{Channel: p.shunt, Time: at, Mono: at.Sub(monthsBoot), Count: int64(math.Round(shunt))})
	}
	m.n++
	m.at = m.at.Add(time.Second)
	return to
}

var monthsBoot = time.Date(2026, 2, 20, 6, 0, 0, 0, time.UTC)

func openWriter(t testing.TB, s *Store) *Writer {
	t.Helper()
	w, err := s.Writer(context.Background(), Owner{Name: "a test", Boot: "boot of the test"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Close() })
	return w
}

func fill(t testing.TB, w *Writer, scans, batch int) (appending time.Duration) { // of the processor
	t.Helper()
	m := newMonths(t, w)
	var samples []Sample
	for done := 0; done < scans; done += batch {
		samples = samples[:0]
		for range min(batch, scans-done) {
			samples = m.scan(samples)
		}
		begin := processorTime(t)
		if err := w.Append(context.Background(), samples); err != nil {
			t.Fatal(err)
		}
		appending += processorTime(t) - begin
	}
	return appending
}

// perLoop reports processor time, which other programs on the machine hardly affect.
func perLoop(b *testing.B, begin time.Duration) {
	b.ReportMetric(float64((processorTime(b)-begin).Microseconds())/1000/float64(b.N), "cpu-ms/op")
}

// size returns the size of a store after its log was moved into the database's file.
func size(t testing.TB, s *Store, path string) int64 {
	t.Helper()
	var busy, logged, moved int
	if err := s.db.Write.QueryRow("PRAGMA wal_checkpoint(FULL)").Scan(&busy, &logged, &moved); err != nil || busy != 0 || logged != moved {
		t.Fatal(busy, logged, moved, err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}

// BenchmarkMonth measures the store: 16 channels at 1 Hz for 30 days.
func BenchmarkMonth(b *testing.B) {
	const month = 30 * 86400
	ctx := context.Background()
	s, path := temporary(b)
	w := openWriter(b, s)
	took := fill(b, w, month, 4096)
	const n = month * 16
	voltage := run.Voltage
	sel := Selection{Run: cornice.Name, Quantity: &voltage, From: "west.91+", To: "west.91-"}
	b.Run("append", func(b *testing.B) {
		for b.Loop() {
		}
		b.ReportMetric(float64(size(b, s, path))/n, "B/reading")
		b.ReportMetric(n/took.Seconds(), "readings/cpu-s")
	})
	for _, days := range []int{1, 30} {
		b.Run(fmt.Sprintf("days=%d", days), func(b *testing.B) {
			sel := sel
			if days < 30 {
				sel.Since = time.Date(2026, 3, 12, 10, 0, 0, 0, time.UTC)
				sel.Until = sel.Since.AddDate(0, 0, days)
			}
			begin := processorTime(b)
			for b.Loop() {
				got, sum := 0, 0.0
				for block, err := range s.Blocks(ctx, sel) {
					if err != nil {
						b.Fatal(err)
					}
					got += len(block.Values)
					sum += block.Values[0]
				}
				if got < days*86400-2 || got > days*86400+2 || math.IsNaN(sum) {
					b.Fatal(got, sum)
				}
			}
			perLoop(b, begin)
		})
	}
}

// BenchmarkYear summarises a year of one of two channels; a month in a short run.
func BenchmarkYear(b *testing.B) {
	year := 365 * 86400 // s
	if testing.Short() {
		year = 30 * 86400
	}
	ctx := context.Background()
	s, _ := temporary(b)
	w := openWriter(b, s)
	m := newMonths(b, w)
	var samples []Sample
	scan := []Sample{}
	for i := range year {
		scan = m.scan(scan[:0])
		samples = append(samples, scan[:2]...)
		if len(samples) >= 20000 || i == year-1 {
			if err := w.Append(ctx, samples); err != nil {
				b.Fatal(err)
			}
			samples = samples[:0]
		}
	}
	voltage := run.Voltage
	sel := Selection{Run: cornice.Name, Quantity: &voltage, Since: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}
	sel.Until = sel.Since.Add(time.Duration(year) * time.Second)
	begin := processorTime(b)
	for b.Loop() {
		buckets, err := s.MinMeanMax(ctx, sel, 1000)
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		for _, x := range buckets {
			n += x.N
		}
		if n < year-2 || n > year {
			b.Fatal(n)
		}
	}
	perLoop(b, begin)
}

func TestWriterKeepsSamplesAsSent(t *testing.T) {
	ctx := context.Background()
	s, path := temporary(t)
	w := openWriter(t, s)
	volts, err := w.Channel(Channel{Run: cornice.Name, Probe: "meter", Step: "dark", Quantity: run.Voltage, From: "A+", To: "A-", Unit: "V", Meter: "hand"})
	if err != nil {
		t.Fatal(err)
	}
	word, err := w.Channel(Channel{Run: cornice.Name, Probe: "board", Quantity: run.Current, From: "near", Unit: "mA", Meter: "board", Scale: "2.5"})
	if err != nil {
		t.Fatal(err)
	}
	again, err := w.Channel(Channel{Run: cornice.Name, Probe: "board", Quantity: run.Current, From: "near", Unit: "mA", Meter: "board", Scale: "2.5"})
	if err != nil || again != word {
		t.Errorf("the same channel: %v, %v", again, err)
	}
	at := func(ms int) time.Time { return start.Add(time.Duration(ms) * time.Millisecond) }
	samples := []Sample{
		{Channel: volts, Time: at(0), Mono: 5 * time.Second, Text: "+5.1000E+00"},
		{Channel: volts, Time: at(10), Mono: 5010 * time.Millisecond, Text: "-0.1000E+00"},
		{Channel: volts, Time: at(20), Text: "+9.9E37", Quality: reading.Overload},
		{Channel: volts, Time: at(30), Text: "OL", Quality: reading.Overload | reading.ClockUncertain},
		{Channel: volts, Time: at(40).UTC(), Text: "005.1"},
		{Channel: word, Time: at(5), Count: 1234},
		{Channel: word, Time: at(5), Count: 32767, Quality: reading.Saturated},
		{Channel: word, Time: at(-1000), Count: -3, Quality: reading.Unsettled},
		{Channel: volts, Time: at(50), Count: 5100, Form: decimal.Form{Decimals: 3}},
	}
	if err := w.Append(ctx, samples); err != nil {
		t.Fatal(err)
	}
	want := []string{
		"-7.5 mA -3 unsettled 0s 0",
		"+5.1000E+00 V 51000 good 5s 1",
		"3085.0 mA 1234 good 0s 0",
		"81917.5 mA 32767 saturated 0s 0",
		"-0.1000E+00 V -1000 good 5.01s 1",
		"+9.9E37 V 99 overload 0s 0",
		"OL V 0 overload, clock uncertain 0s 0",
		"005.1 V 0 good 0s 0",
		"5.100 V 5100 good 0s 0",
	}
	look := func(when string, s *Store) {
		t.Helper()
		var got []string
		for x, err := range s.Samples(ctx, Selection{Run: cornice.Name}) {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, fmt.Sprintf("%s %s %d %s %s %d", x.Text, x.Unit, x.Count, x.Quality, x.SinceBoot, x.Boot))
		}
		if strings.Join(got, "\n") != strings.Join(want, "\n") {
			t.Errorf("%s: got\n%s\nwant\n%s", when, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		if n := len(all(t, s, Filter{})); n != 5 {
			t.Errorf("%s: %d readings, want the 5 measured values", when, n)
		}
	}
	look("in the tail", s)
	if err := w.Fold(ctx); err != nil {
		t.Fatal(err)
	}
	look("in chunks", s)
	reader, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	look("to another reader", reader)
}
