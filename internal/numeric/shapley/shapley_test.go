package shapley

import (
	"errors"
	"math"
	"math/bits"
	"math/rand/v2"
	"testing"
)

func split(t *testing.T, n int, worth func(Set) float64) []float64 {
	t.Helper()
	shares, err := Split(n, 1, func(s Set, out []float64) error { out[0] = worth(s); return nil })
	if err != nil {
		t.Fatal(err)
	}
	var list []float64
	for _, x := range shares {
		list = append(list, x[0])
	}
	return list
}

// Games whose value is in every textbook (from memory) or follows by hand.
func TestKnownGames(t *testing.T) {
	for _, c := range []struct {
		name  string
		n     int
		worth func(Set) float64
		want  []float64
	}{
		{"glove game: one left, two right", 3, func(s Set) float64 {
			if s.Has(0) && (s.Has(1) || s.Has(2)) {
				return 1
			}
			return 0
		}, []float64{4.0 / 6, 1.0 / 6, 1.0 / 6}},
		{"airport game: runways of 8, 11, 13, 18", 4, func(s Set) float64 {
			most := 0.0
			for i, x := range []float64{8, 11, 13, 18} {
				if s.Has(i) {
					most = math.Max(most, x)
				}
			}
			return most
		}, []float64{2, 3, 4, 9}},
		{"two in series, product", 2, func(s Set) float64 { return float64(int(s & 1 & (s >> 1))) }, []float64{0.5, 0.5}},
		{"one player", 1, func(s Set) float64 { return 3 + 4*float64(s) }, []float64{4}},
		{"no players", 0, func(s Set) float64 { return 7 }, nil},
	} {
		got := split(t, c.n, c.worth)
		for i, want := range c.want {
			if math.Abs(got[i]-want) > 1e-12 {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
				break
			}
		}
	}
}

// Shares of random games add up, and equal the average over every order.
func TestSharesAreAverageGains(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 5))
	for n := 2; n <= 6; n++ {
		worth := make([]float64, 1<<n)
		for i := range worth {
			worth[i] = rng.NormFloat64()
		}
		got := split(t, n, func(s Set) float64 { return worth[s] })
		want, orders := make([]float64, n), 0
		var visit func(order []int, s Set)
		visit = func(order []int, s Set) {
			if len(order) == n {
				orders++
				at := Set(0)
				for _, i := range order {
					want[i] += worth[at|1<<i] - worth[at]
					at |= 1 << i
				}
				return
			}
			for i := range n {
				if !s.Has(i) {
					visit(append(order, i), s|1<<i)
				}
			}
		}
		visit(nil, 0)
		sum := 0.0
		for i := range n {
			sum += got[i]
			if math.Abs(got[i]-want[i]/float64(orders)) > 1e-12 {
				t.Errorf("%d players: %v, want %v of %d", n, got, want, orders)
				break
			}
		}
		if math.Abs(sum-(worth[len(worth)-1]-worth[0])) > 1e-12 {
			t.Errorf("%d players: the shares add up to %g", n, sum)
		}
	}
}

// Every coalition is evaluated once, and each differs from the one before by one player.
func TestOrderOfCoalitions(t *testing.T) {
	seen, last := map[Set]bool{}, Set(0)
	split(t, 5, func(s Set) float64 {
		if d := bits.OnesCount32(uint32(s ^ last)); len(seen) > 0 && d != 1 {
			t.Errorf("%d players change from %b to %b", d, last, s)
		}
		seen[s], last = true, s
		return 0
	})
	if len(seen) != 32 {
		t.Errorf("%d coalitions", len(seen))
	}
}

func TestSplitFails(t *testing.T) {
	if _, err := Split(Most+1, 1, nil); err == nil {
		t.Error("too many players are no fault")
	}
	bad := errors.New("no worth")
	if _, err := Split(2, 1, func(Set, []float64) error { return bad }); !errors.Is(err, bad) {
		t.Error(err)
	}
}
