package store

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"iter"
	"slices"
	"testing"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/reading/openmetrics"
)

func each(readings []reading.Reading, err error) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		for _, x := range readings {
			if !yield(x, nil) {
				return
			}
		}
		if err != nil {
			yield(reading.Reading{}, err)
		}
	}
}

// Readings of several batches are stored as if they were one batch, in any order; those that occur
// twice are stored once.
func TestManyReadings(t *testing.T) {
	t.Parallel()
	n := batchSize + batchSize/8
	if *thorough {
		n = 2*batchSize + batchSize/2
	}
	sorted := scans(0, n)
	grouped := slices.Clone(sorted)
	slices.SortStableFunc(grouped, func(a, b reading.Reading) int { return cmp.Compare(a.From, b.From) })
	twice := slices.Concat(sorted, sorted[:1000], sorted[n-1000:])
	for name, readings := range map[string][]reading.Reading{"by time": sorted, "by place": grouped, "twice": twice} {
		if name != "twice" && !*thorough { // which begins by time
			continue
		}
		s, _ := temporary(t)
		added, duplicates, err := s.AppendSeq(context.Background(), cornice.Name, "a", each(readings, nil))
		if err != nil || added != n || duplicates != len(readings)-n {
			t.Errorf("%s: %d added, %d there, %v", name, added, duplicates, err)
		}
		got := all(t, s, Filter{})
		byPlace := func(a, b reading.Reading) int { return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.From, b.From)) }
		want := slices.SortedFunc(slices.Values(sorted), byPlace)
		if !slices.IsSortedFunc(got, func(a, b reading.Reading) int { return a.Time.Compare(b.Time) }) {
			t.Errorf("%s: they are not in the order of time", name)
		}
		slices.SortFunc(got, byPlace)
		if !slices.EqualFunc(got, want, func(a, b reading.Reading) bool {
			return a.Time.Equal(b.Time) && a.From == b.From && a.To == b.To && a.Text == b.Text && a.Step == b.Step
		}) {
			t.Errorf("%s: %d readings come back, and others", name, len(got))
		}
	}
}

// An error after the first batch takes back all batches, and is returned unchanged.
func TestManyReadingsOrNone(t *testing.T) {
	s, _ := temporary(t)
	pulled := errors.New("the card was pulled")
	readings := scans(0, batchSize+5000)
	if _, _, err := s.AppendSeq(context.Background(), cornice.Name, "a", each(readings, pulled)); err != pulled {
		t.Errorf("%v", err)
	}
	readings[batchSize+4000].Text = "4,8"
	if _, _, err := s.AppendSeq(context.Background(), cornice.Name, "a", each(readings, nil)); err == nil || err.Error()[:14] != "reading 69537:" {
		t.Errorf("%v", err)
	}
	if n := len(all(t, s, Filter{})); n != 0 {
		t.Errorf("%d readings are stored", n)
	}
	if _, _, err := s.AppendSeq(context.Background(), cornice.Name, "a", each(nil, pulled)); err != pulled {
		t.Errorf("the first: %v", err)
	}
}

// BenchmarkImport does what an import does, in both forms: each row is checked, then read again and
// stored.
func BenchmarkImport(b *testing.B) {
	readings := scans(0, 400_000)
	var sheet, text bytes.Buffer
	if err := csv.Write(&sheet, readings); err != nil {
		b.Fatal(err)
	}
	e := openmetrics.NewReadingsWriter(&text, cornice.Name)
	slices.SortStableFunc(readings, func(a, b reading.Reading) int { return cmp.Compare(a.From, b.From) })
	for group := range slices.Chunk(readings, len(readings)/16) {
		if err := e.Write(each(group, nil)); err != nil {
			b.Fatal(err)
		}
	}
	if err := e.Close(); err != nil {
		b.Fatal(err)
	}
	scan := func(file []byte) *csv.Rows {
		rows, err := csv.Scan("r", bytes.NewReader(file), cornice)
		if err != nil {
			b.Fatal(err)
		}
		return rows
	}
	for _, form := range []struct {
		name string
		file []byte
	}{{"csv", sheet.Bytes()}, {"openmetrics", text.Bytes()}} {
		b.Run(form.name, func(b *testing.B) {
			before := processorTime(b)
			for range b.N {
				s, _ := temporary(b)
				for _, err := range scan(form.file).Good() {
					if err != nil {
						b.Fatal(err)
					}
				}
				if n, _, err := s.AppendSeq(context.Background(), cornice.Name, "r", scan(form.file).Good()); err != nil || n != len(readings) {
					b.Fatal(n, err)
				}
			}
			b.ReportMetric(float64(b.N*len(readings))/(processorTime(b)-before).Seconds(), "readings/cpu-s")
		})
	}
}
