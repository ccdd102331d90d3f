package chunk

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ohmkeep/internal/reading"
)

// some returns n records with or without each optional column.
func some(random *rand.Rand, n, kind int) []Record {
	records := make([]Record, n)
	at := int64(1_772_393_400_000_000_000)
	for i := range records {
		at += random.Int64N(3) * 1_000_000
		r := &records[i]
		r.At, r.Count = at, random.Int64N(100)-50
		if kind&1 != 0 {
			r.Zone = int32(random.IntN(2)*3600 - 1800)
		}
		if kind&2 != 0 {
			r.Clock, r.Boot = at-random.Int64N(5), int32(random.IntN(3))
		}
		if kind&4 != 0 {
			r.Quality = reading.Quality(random.IntN(16))
		}
		if kind&8 != 0 {
			r.Rank = int32(random.IntN(2))
		}
		if kind&16 != 0 {
			r.Count, r.Text = 0, []string{"", "OL", "005.1", "\x00\xff"}[random.IntN(4)]
		}
	}
	return records
}

func TestBlocksComeBack(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	var m Moments
	var v Values
	for kind := range 32 {
		for _, n := range []int{1, 2, 257, MaxRecords} {
			records := some(random, n, kind)
			moments, values := AppendMoments(nil, records), AppendValues([]byte("x"), records, kind&16 != 0, 7)[1:]
			if err := errors.Join(m.Decode(moments, n), v.Decode(values, n, 7)); err != nil {
				t.Fatalf("kind %d, %d records: %v", kind, n, err)
			}
			if got := AppendRecords(nil, &m, &v); !slices.Equal(got, records) {
				t.Fatalf("kind %d, %d records: they differ", kind, n)
			}
			if until := records[n/2].At; m.DecodeUntil(moments, n, until) != nil ||
				!slices.EqualFunc(m.At, records, func(at int64, r Record) bool { return at == r.At || at > until && r.At > until }) {
				t.Fatalf("kind %d, %d records: until the middle they differ", kind, n)
			}
		}
	}
}

// A block with a changed bit, or of another length, is refused.
func TestChangedBlocksAreRefused(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	records := some(random, 100, 31)
	moments, values := AppendMoments(nil, records), AppendValues(nil, records, true, 7)
	batch := AppendBatch(nil, []Section{{Series: 3, Identity: 30, Texts: true, Records: records}})
	for name, decode := range map[string]func([]byte) error{
		"moments": func(b []byte) error { return new(Moments).Decode(b, 100) },
		"until":   func(b []byte) error { return new(Moments).DecodeUntil(b, 100, math.MaxInt64) },
		"values":  func(b []byte) error { return new(Values).Decode(b, 100, 7) },
		"batch": func(b []byte) error {
			return new(Batch).Decode(b, 100, tenfold, nil, func(Section) error { return nil })
		},
	} {
		block := map[string][]byte{"moments": moments, "until": moments, "values": values, "batch": batch}[name]
		if err := decode(block); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for range 200 {
			changed := bytes.Clone(block)
			changed[random.IntN(len(changed))] ^= 1 << random.IntN(8)
			if err := decode(changed); !errors.Is(err, ErrDamaged) {
				t.Errorf("%s with a changed bit: %v", name, err)
			}
			if err := decode(block[:random.IntN(len(block))]); !errors.Is(err, ErrDamaged) {
				t.Errorf("%s cut: %v", name, err)
			}
		}
	}
	if err := new(Moments).Decode(moments, 99); !errors.Is(err, ErrDamaged) {
		t.Errorf("of another number of records: %v", err)
	}
}

// tenfold returns ten times the number of a series as its identity.
func tenfold(series int64) (uint64, bool) { return uint64(series) * 10, true }

func unnamed(int64) (uint64, bool) { return 0, false }

// A block of one series is refused for another series, and for other moments.
func TestValuesBelongToTheirSeries(t *testing.T) {
	records := some(rand.New(rand.NewPCG(11, 12)), 50, 0)
	moments, others := AppendMoments(nil, records), AppendMoments(nil, records[:49])
	values := AppendValues(nil, records, false, NewSeed(5, moments))
	batch := AppendBatch(nil, []Section{{1, 10, false, records}, {2, 20, false, records}})
	for name, c := range map[string]struct {
		err  error
		want bool
	}{
		"its own":       {new(Values).Decode(values, 50, NewSeed(5, moments)), true},
		"other series":  {new(Values).Decode(values, 50, NewSeed(6, moments)), false},
		"other moments": {new(Values).Decode(values, 50, NewSeed(5, others)), false},
		"a batch":       {new(Batch).Decode(batch, 100, tenfold, nil, func(Section) error { return nil }), true},
		"of which a series is not known": {new(Batch).Decode(batch, 100, func(id int64) (uint64, bool) { return 10, id == 1 }, nil,
			func(Section) error { return nil }), true},
		"exchanged numbers": {new(Batch).Decode(batch, 100, func(id int64) (uint64, bool) { return uint64(3-id) * 10, true }, nil,
			func(Section) error { return nil }), false},
	} {
		if (c.err == nil) != c.want || c.err != nil && !errors.Is(c.err, ErrDamaged) {
			t.Errorf("%s: %v", name, c.err)
		}
	}
}

// A few bytes can encode any number of equal readings. Their number is compared with the expected
// one before memory is allocated.
func TestBlocksSayNoMoreThanTheirRows(t *testing.T) {
	many := make([]Record, MaxInBatch+1)
	for i := range many {
		many[i] = Record{At: 7, Count: 1}
	}
	none := func(Section) error { t.Error("a section was taken"); return nil }
	block := AppendBatch(nil, []Section{{1, 10, false, many}})
	if len(block) > 40 {
		t.Fatalf("%d bytes", len(block))
	}
	for _, n := range []int{-1, 0, 1, MaxInBatch, MaxInBatch + 1, 1 << 30} {
		if err := new(Batch).Decode(block, n, tenfold, nil, none); !errors.Is(err, ErrDamaged) {
			t.Errorf("%d: %v", n, err)
		}
		if err := new(Moments).Decode(AppendMoments(nil, many), n); n > MaxInBatch && !errors.Is(err, ErrDamaged) {
			t.Errorf("moments of %d: %v", n, err)
		}
	}
	twice := AppendBatch(nil, []Section{{1, 10, false, many[:9000]}, {2, 20, false, many[:9000]}})
	if err := new(Batch).Decode(twice, 18000, tenfold, nil, none); !errors.Is(err, ErrDamaged) {
		t.Errorf("together: %v", err)
	}
}

func TestBatchComesBack(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for kind := range 16 {
		a, b, c := some(random, 10, kind), some(random, 1, kind), some(random, 3, kind|16)
		shared := slices.Clone(a) // read together with a, as volts and amps of a line are
		for i := range shared {
			shared[i].Count = random.Int64N(9)
		}
		sections := []Section{{1, 10, false, a}, {2, 20, false, shared}, {300, 3000, false, b}, {301, 3010, true, c}}
		block := AppendBatch(nil, sections)
		for _, wanted := range [][]int64{{1, 2, 300, 301}, {2}, {301}, nil} {
			var got []Section
			var batch Batch
			err := batch.Decode(block, 24, tenfold, func(id int64) bool { return slices.Contains(wanted, id) }, func(s Section) error {
				s.Records = slices.Clone(s.Records)
				got = append(got, s)
				return nil
			})
			want := slices.DeleteFunc(slices.Clone(sections), func(s Section) bool { return !slices.Contains(wanted, s.Series) })
			same := slices.EqualFunc(got, want, func(a, b Section) bool {
				return a.Series == b.Series && a.Texts == b.Texts && slices.Equal(a.Records, b.Records)
			})
			if err != nil || !same {
				t.Errorf("kind %d, series %d: %v, %+v", kind, wanted, err, got)
			}
		}
	}
}

// A commit of one scan of 16 channels is small, to save the memory card.
func TestSmallCommitsAreSmall(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	var sections []Section
	for i := range 16 {
		at := 1_772_393_400_000_000_000 + int64(i/2)*40_000_000
		sections = append(sections, Section{int64(i + 1), 0, false, []Record{{At: at, Clock: 1_772_000_000_000_000_000, Boot: 7, Count: 3000 + random.Int64N(900)}}})
	}
	if n := len(AppendBatch(nil, sections)); n > 16*11+40 {
		t.Errorf("%d bytes for 16 readings", n)
	}
}

func FuzzBatch(f *testing.F) {
	random := rand.New(rand.NewPCG(9, 10))
	for kind := range 8 {
		block := AppendBatch(nil, []Section{{1, 10, false, some(random, 20, kind)}, {7, 70, true, some(random, 3, 16)}})
		f.Add(block[:len(block)-4], 23)
	}
	f.Fuzz(func(t *testing.T, data []byte, n int) {
		block := seal(bytes.Clone(data), 0, 0) // or the checksum refuses nearly everything
		var sections []Section
		var batch Batch
		if batch.Decode(block, n, unnamed, nil, func(s Section) error {
			s.Records = slices.Clone(s.Records)
			sections = append(sections, s)
			return nil
		}) != nil || len(sections) == 0 {
			return
		}
		for i, s := range sections {
			if len(s.Records) == 0 || i > 0 && s.Series < sections[i-1].Series || s.Series < 0 {
				return // what no store writes
			}
		}
		i := 0
		if err := batch.Decode(AppendBatch(nil, sections), n, unnamed, nil, func(s Section) error {
			if s.Series != sections[i].Series || !slices.Equal(s.Records, sections[i].Records) {
				t.Errorf("section %d: %+v became %+v", i, sections[i], s)
			}
			i++
			return nil
		}); err != nil || i != len(sections) {
			t.Errorf("%d of %d sections: %v", i, len(sections), err)
		}
	})
}
