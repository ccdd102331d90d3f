package store

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// A store is compared with a plain list. Any readings, in any order and batches, imported or from a
// probe, folded or not, are returned once and exactly, and so are the summaries.
func TestStoreIsLikeAList(t *testing.T) {
	ctx := context.Background()
	random := rand.New(rand.NewPCG(51, 52))
	s, _ := temporary(t)
	w := openWriter(t, s)
	probed, err := w.Channel(Channel{Run: cornice.Name, Probe: "board", Step: "dark", Quantity: run.Voltage, From: "A+", To: "A-", Unit: "V", Meter: "hand"})
	if err != nil {
		t.Fatal(err)
	}
	list := map[string]bool{} // what is to be there
	values := map[int64][]float64{}
	line := func(x reading.Reading) string {
		return fmt.Sprint(x.Time.UnixNano(), x.Step, x.Quantity, x.From, x.To, x.Text, x.Unit, x.Meter)
	}
	text := func() string {
		return []string{"4.812", "4.81", "+4.8E0", "004.8", "-0", "5"}[random.IntN(6)]
	}
	at := func() time.Time {
		return start.Add(time.Duration(random.IntN(20_000)) * time.Second)
	}
	note := func(x reading.Reading) bool {
		if list[line(x)] {
			return false
		}
		list[line(x)] = true
		if x.From == "A+" {
			v, err := reading.Value(x.Quantity, x.Text, x.Unit)
			if err != nil {
				t.Fatal(err)
			}
			values[x.Time.UnixNano()] = append(values[x.Time.UnixNano()], v)
		}
		return true
	}
	rounds := 30
	if *thorough {
		rounds = 200
	}
	for round := range rounds {
		switch random.IntN(4) {
		case 0, 1:
			readings := make([]reading.Reading, 1+random.IntN(1500))
			want := 0
			for i := range readings {
				x := reading.Reading{Time: at(), Step: "dark", From: "A+", To: "A-", Text: text(), Unit: "V", Meter: "hand"}
				if random.IntN(3) == 0 {
					x.From, x.To = "west.1+", "west.1-"
				}
				if note(x) {
					want++
				}
				readings[i] = x
			}
			if added, _ := add(t, s, fmt.Sprint(round), readings); added != want {
				t.Fatalf("round %d: %d added, want %d", round, added, want)
			}
		case 2:
			var samples []Sample
			for range 1 + random.IntN(800) {
				x := reading.Reading{Time: at(), Step: "dark", From: "A+", To: "A-", Text: text(), Unit: "V", Meter: "hand"}
				if note(x) { // a probe's sample is always stored
					samples = append(samples, Sample{Channel: probed, Time: x.Time, Text: x.Text})
				}
			}
			if err := w.Append(ctx, samples); err != nil {
				t.Fatal(err)
			}
		case 3:
			if err := w.Fold(ctx); err != nil {
				t.Fatal(err)
			}
		}
	}
	got := all(t, s, Filter{})
	if !slices.IsSortedFunc(got, func(a, b reading.Reading) int { return a.Time.Compare(b.Time) }) {
		t.Error("not in the order of time")
	}
	if len(got) != len(list) {
		t.Errorf("%d readings, want %d", len(got), len(list))
	}
	for _, x := range got {
		if !list[line(x)] {
			t.Fatalf("%s was never stored, or is there twice", line(x))
		}
		delete(list, line(x))
	}
	if found, err := s.Check(ctx); err != nil || len(found.Faults) > 0 || found.Readings != int64(len(got)) {
		t.Errorf("check: %+v, %v", found, err)
	}
	sums(t, s, values)
}

// sums compares MinMeanMax with values by their moments.
func sums(t *testing.T, s *Store, values map[int64][]float64) {
	t.Helper()
	for _, count := range []int{1, 7, 1000} {
		sel := Selection{Run: cornice.Name, From: "A+", To: "A-", Since: start.Add(777 * time.Second), Until: start.Add(18_000*time.Second + 1)}
		buckets, err := s.MinMeanMax(context.Background(), sel, count)
		if err != nil || len(buckets) != count || !buckets[0].From.Equal(sel.Since) || !buckets[count-1].To.Equal(sel.Until) {
			t.Fatalf("%d buckets: %v", len(buckets), err)
		}
		for i, b := range buckets {
			if i > 0 && !b.From.Equal(buckets[i-1].To) {
				t.Fatalf("a gap before bucket %d", i)
			}
			var in []float64
			for at, v := range values {
				if at >= b.From.UnixNano() && at < b.To.UnixNano() {
					in = append(in, v...)
				}
			}
			slices.Sort(in)
			total, size := new(big.Float).SetPrec(300), 0.0 // precise: the store's sum alone may be rounded
			for _, v := range in {
				total.Add(total, big.NewFloat(v))
				size += math.Abs(v)
			}
			sum, _ := total.Float64()
			n := float64(len(in))
			rounding := (n + 4) * 0x1p-53 * size / n // of any order of a sum (N. J. Higham's bound, from memory), and of the mean
			if b.N != len(in) || b.N > 0 && (b.Min != in[0] || b.Max != in[len(in)-1] || math.Abs(b.Mean-sum/n) > rounding) {
				t.Errorf("bucket %d of %d: %+v, want %d values of mean %g", i, count, b, len(in), sum/n)
			}
		}
	}
}

// An export has the order of the imported file, also for equal moments.
func TestOrderOfEqualMoments(t *testing.T) {
	random := rand.New(rand.NewPCG(61, 62))
	s, _ := temporary(t)
	var readings []reading.Reading
	for i := range 3000 {
		readings = append(readings, reading.Reading{Time: start.Add(time.Duration(i/20) * time.Second), From: fmt.Sprintf("west.%d+", 1+random.IntN(9)),
			To: "A-", Text: fmt.Sprintf("%d.%d", random.IntN(9), i), Unit: "V", Meter: "hand"})
	}
	add(t, s, "a", readings)
	got := all(t, s, Filter{})
	if !slices.EqualFunc(got, readings, func(a, b reading.Reading) bool { return a.Text == b.Text && a.From == b.From }) {
		t.Error("readings of equal moments come in another order")
	}
	second, _ := temporary(t)
	add(t, second, "b", parse(t, strings.ReplaceAll(export(t, s), ",,voltage", ",dark,voltage")))
	again := all(t, second, Filter{})
	if !slices.EqualFunc(got, again, func(a, b reading.Reading) bool { return a.Text == b.Text && cmp.Compare(a.From, b.From) == 0 }) {
		t.Error("after an export and an import they come in another order")
	}
}

func TestSecondWriterIsRefusedByName(t *testing.T) {
	ctx := context.Background()
	s, path := temporary(t)
	first, err := s.Writer(ctx, Owner{Name: "ohmkeep watch shelf.toml"})
	if err != nil {
		t.Fatal(err)
	}
	other, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if _, err := other.Writer(ctx, Owner{Name: "another"}); err == nil || !strings.Contains(err.Error(), "the store is kept by ohmkeep watch shelf.toml (process ") {
		t.Errorf("the second writer: %v", err)
	}
	add(t, other, "an import meanwhile", scans(0, 16))
	if err := first.Close(); err != nil {
		t.Error(err)
	}
	second, err := other.Writer(ctx, Owner{Name: "another"})
	if err != nil {
		t.Fatalf("after the first has gone: %v", err)
	}
	second.Close()
}

func TestMarksAndState(t *testing.T) {
	ctx := context.Background()
	s, _ := temporary(t)
	made := Mark{Time: start, Kind: MarkNote, Subject: "joint 2", Text: "re-made joint 2"}
	gap := Mark{Time: start.Add(time.Hour).UTC(), Kind: MarkGap, Subject: "board", Text: "since 19:30"}
	if err := s.Mark(ctx, cornice.Name, gap, made); err != nil {
		t.Fatal(err)
	}
	marks, err := s.Marks(ctx, cornice.Name, time.Time{}, time.Time{})
	if err != nil || len(marks) != 2 || !marks[0].Time.Equal(made.Time) || marks[0].Text != made.Text || fmt.Sprint(marks[0].Time) != fmt.Sprint(made.Time) || marks[1] != gap {
		t.Errorf("marks: %+v, %v", marks, err)
	}
	if marks, err := s.Marks(ctx, cornice.Name, start.Add(1), start.Add(time.Hour)); err != nil || len(marks) != 0 {
		t.Errorf("between the marks: %+v, %v", marks, err)
	}
	if _, _, ok, err := s.State(ctx, cornice.Name, "drift"); ok || err != nil {
		t.Errorf("no state: %v, %v", ok, err)
	}
	for version, data := range [][]byte{{1, 2}, nil, {0}} {
		if err := s.SetState(ctx, cornice.Name, "drift", version, data); err != nil {
			t.Fatal(err)
		}
		v, got, ok, err := s.State(ctx, cornice.Name, "drift")
		if v != version || string(got) != string(data) || !ok || err != nil {
			t.Errorf("state: %d %v %v %v", v, got, ok, err)
		}
	}
}

// A corrected shunt applies to old samples and to the summaries of their hours: 2.5 µV over 10 mΩ
// is 0.25 mA a count, over 12.5 mΩ 0.2 mA (Ohm's law).
func TestCorrectedScale(t *testing.T) {
	ctx := context.Background()
	s, _ := temporary(t)
	w := openWriter(t, s)
	amps, err := w.Channel(Channel{Run: cornice.Name, Probe: "board", Quantity: run.Current, From: "near", Unit: "mA", Meter: "board", Scale: "0.25"})
	if err != nil {
		t.Fatal(err)
	}
	hour := start.Truncate(time.Hour)
	if err := w.Append(ctx, []Sample{{Channel: amps, Time: hour, Count: 1000}, {Channel: amps, Time: hour.Add(time.Hour), Count: 2000}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Fold(ctx); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Correct(ctx, Selection{Run: cornice.Name}, "0.5", "0.2"); n != 0 || err != nil {
		t.Errorf("%d series of another scale, %v", n, err)
	}
	if n, err := s.Correct(ctx, Selection{Run: cornice.Name}, "0.25", "0.2"); n != 1 || err != nil {
		t.Errorf("%d series corrected, %v", n, err)
	}
	if got := all(t, s, Filter{}); len(got) != 2 || got[0].Text != "200.0" || got[0].Value != 0.2 {
		t.Errorf("corrected: %+v", got)
	}
	if _, err := s.Thin(ctx, cornice.Name, hour.Add(3*time.Hour), hour.Add(3*time.Hour)); err != nil {
		t.Fatal(err)
	}
	buckets, err := s.MinMeanMax(ctx, Selection{Run: cornice.Name, Since: hour, Until: hour.Add(2 * time.Hour)}, 2)
	if err != nil || math.Abs(buckets[0].Mean-0.2) > 1e-15 || math.Abs(buckets[1].Max-0.4) > 1e-15 || !buckets[0].Hourly {
		t.Errorf("the hours: %+v, %v", buckets, err)
	}
	if n, err := s.Correct(ctx, Selection{Run: cornice.Name}, "0.25", "x"); n != 0 || err == nil {
		t.Errorf("an invalid scale: %d, %v", n, err)
	}
}
