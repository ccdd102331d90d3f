package column

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// same fails unless a column is decoded as it was encoded, and what follows it is left.
func same(t testing.TB, v []int64) (size int) {
	t.Helper()
	coded := Append([]byte("before"), v)[len("before"):]
	got := make([]int64, len(v))
	rest, err := Decode(got, append(coded[:len(coded):len(coded)], "behind"...))
	if err != nil || string(rest) != "behind" || !slices.Equal(got, v) {
		t.Fatalf("%d numbers: %v, rest %q, first difference at %d", len(v), err, rest, firstDifference(got, v))
	}
	return len(coded)
}

func firstDifference(a, b []int64) int {
	for i := range a {
		if a[i] != b[i] {
			return i
		}
	}
	return -1
}

func filled(n int, f func(i int) int64) []int64 {
	v := make([]int64, n)
	for i := range v {
		v[i] = f(i)
	}
	return v
}

func TestEveryColumnComesBack(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	kinds := map[string]func(i int) int64{
		"nothing":     func(int) int64 { return 0 },
		"constant":    func(int) int64 { return -123456789 },
		"counting":    func(i int) int64 { return int64(i) },
		"thousands":   func(i int) int64 { return int64(i) * 1000 },
		"noise":       func(int) int64 { return int64(random.NormFloat64() * 1.5) },
		"wild":        func(int) int64 { return int64(random.Uint64()) },
		"ends":        func(i int) int64 { return []int64{math.MinInt64, math.MaxInt64}[i%2] },
		"lowest":      func(i int) int64 { return math.MinInt64 + int64(i%3) },
		"spikes":      func(i int) int64 { return int64(i%97/96) << (i % 63) },
		"wide":        func(int) int64 { return int64(random.Uint64() >> 20) },
		"nanoseconds": func(i int) int64 { return 1772393400e9 + int64(i)*1e9 + random.Int64N(1e6) },
	}
	for name, f := range kinds {
		for _, n := range []int{0, 1, 2, 3, 255, 256, 257, 258, 1000, 4096, 62 * 256} {
			size := same(t, filled(n, f))
			if name == "constant" && size > 6 {
				t.Errorf("%d equal numbers take %d bytes", n, size)
			}
		}
	}
}

// Noise of one count about a slow drift costs about its entropy: that of a normal
// distribution is log2(σ·√(2πe)) bits = 2.05 for σ = 1 (textbook formula), here
// with the rounding to counts; 10 % are allowed for the code and 4 bytes a block.
func TestNoiseCostsLittleMoreThanItsEntropy(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const n = 1 << 14
	v := filled(n, func(i int) int64 { return int64(math.Round(float64(i)/500 + random.NormFloat64())) })
	entropy := math.Log2(math.Sqrt(2 * math.Pi * math.E * (1 + 1./12)))
	got := float64(same(t, v)) * 8 / n
	if most := entropy*1.10 + 4*8./BlockSize; got > most {
		t.Errorf("%.3f bits a number, entropy %.3f, allowed %.3f", got, entropy, most)
	}
	// Jitter about a fixed interval does not accumulate: a sum of second differences would have 6
	// times the variance, 1.3 bits more.
	v = filled(n, func(i int) int64 { return int64(math.Round(float64(i)*1000+random.NormFloat64()))*1e6 + 1772393400e9 })
	if got, most := float64(same(t, v))*8/n, entropy*1.10+6*8./BlockSize; got > most {
		t.Errorf("times: %.3f bits a number, allowed %.3f", got, most)
	}
}

// Residuals of any length are decoded from any bit within a byte.
func TestResidualsOfEachParameterComeBack(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 10))
	for k := range uint(allZero) {
		for range 20 {
			want := make([]uint64, BlockSize)
			for i := range want {
				q := random.Uint64N(maxZeros + 2) // escapes among them
				if k < 59 {
					want[i] = q<<k | random.Uint64()&(1<<k-1)
				} else {
					want[i] = random.Uint64()
				}
			}
			var e encoder
			e.rice(want, k)
			got := make([]int64, len(want))
			r := reader{src: e.dst}
			r.rice(got, k)
			for i, z := range got {
				if zigzag(z) != want[i] || r.err != nil || len(r.src) > 0 {
					t.Fatalf("k = %d, number %d: %v, %d bytes left", k, i, r.err, len(r.src))
				}
			}
		}
	}
}

// The bytes follow from the format's description, by hand.
func TestFormat(t *testing.T) {
	for _, c := range []struct {
		v    []int64
		want []byte
	}{
		{[]int64{-1}, []byte{1}},
		{[]int64{5, 5, 5}, []byte{10, 0}},
		// g = 10, u = 1, 2, 3: Previous with c = 1, all residuals 0
		{[]int64{0, 10, 20, 30}, []byte{0, 10, previous<<6 | allZero, 2}},
		// u = 1, 1 against Smooth's 0, 0 (m = 0, 4): zigzag 2, 2 → 001 001 with k = 0
		{[]int64{0, 1, 1}, []byte{0, 1, smooth << 6, 0b0010_0100}},
	} {
		if got := Append(nil, c.v); !slices.Equal(got, c.want) {
			t.Errorf("%d: % x, want % x", c.v, got, c.want)
		}
		same(t, c.v)
	}
}

func TestDamageIsNoticedOrHarmless(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	coded := Append(nil, filled(700, func(i int) int64 { return random.Int64N(1000) }))
	v := make([]int64, 700)
	for n := range coded {
		if _, err := Decode(v, coded[:n]); err != ErrDamaged {
			t.Fatalf("cut at %d of %d: %v", n, len(coded), err)
		}
	}
	if _, err := Decode(v, []byte{0, 1, 3 << 6}); err != ErrDamaged {
		t.Errorf("an unknown predictor: %v", err)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add(Append(nil, []int64{1, 2, 3, 5, 8}), uint16(5))
	f.Add(Append(nil, filled(600, func(i int) int64 { return int64(i * i) })), uint16(600))
	f.Fuzz(func(t *testing.T, src []byte, n uint16) {
		v := make([]int64, n)
		if _, err := Decode(v, src); err == nil {
			same(t, v)
		}
	})
}

func FuzzRoundTrip(f *testing.F) {
	f.Add([]byte("\x00\x01\x02\x03\x04\x05\x06\x07 and more of these bytes"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var v []int64
		for ; len(data) > 8; data = data[1+data[0]&7:] { // overlapping: alike numbers come too
			v = append(v, int64(binary.LittleEndian.Uint64(data))>>(data[0]&56))
		}
		same(t, v)
	})
}

func benchmarkColumn() []int64 {
	random := rand.New(rand.NewPCG(7, 8))
	return filled(4096, func(i int) int64 { return int64(math.Round(float64(i)/500 + random.NormFloat64())) })
}

func BenchmarkAppend(b *testing.B) {
	v := benchmarkColumn()
	var dst []byte
	for b.Loop() {
		dst = Append(dst[:0], v)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(v)), "ns/number")
}

func BenchmarkDecode(b *testing.B) {
	v := benchmarkColumn()
	coded := Append(nil, v)
	for b.Loop() {
		if _, err := Decode(v, coded); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(v)), "ns/number")
}
