// Package shapley divides a total effect among its causes by Shapley's value (A value for
// n-person games, 1953). In the words of that theory a cause is a player, a set of causes is
// a coalition, and the effect of a set is its worth. A player's share is the mean, over all
// orders in which the players can join, of what it adds to the worth. The shares add up to
// the total, players with equal effect have equal shares, and one without effect has 0.
package shapley

import (
	"fmt"
	"math/bits"
)

// Most is the largest number of players. Every coalition is evaluated once, so the shares are
// exact; their number doubles with every player.
const Most = 16

// Set is a coalition: bit i is set where player i has joined.
type Set uint32

// Has reports whether a player has joined.
func (s Set) Has(player int) bool { return s>>player&1 == 1 }

// Split returns the shares of n players in the quantities that worth writes for each coalition:
// shares[i][k] is the share of player i in quantity k, and the shares of a quantity add up to
// worth(all) − worth(none). Coalitions are evaluated in an order in which one player at a time
// joins or leaves. The error is that of worth.
func Split(n, quantities int, worth func(s Set, out []float64) error) (shares [][]float64, err error) {
	if n < 0 || n > Most {
		return nil, fmt.Errorf("%d players, at most %d can be split exactly", n, Most)
	}
	shares = make([][]float64, n)
	for i := range shares {
		shares[i] = make([]float64, quantities)
	}
	joins, stays := weights(n)
	out := make([]float64, quantities)
	for k := range Set(1) << n {
		s := k ^ k>>1 // the Gray code
		if err := worth(s, out); err != nil {
			return nil, err
		}
		size := bits.OnesCount32(uint32(s))
		// Within the sum over orders each coalition counts for those in it, as the
		// worth that they have just completed, and against those outside.
		for i, share := range shares {
			by := -stays[size]
			if s.Has(i) {
				by = joins[size]
			}
			for q, x := range out {
				share[q] += by * x
			}
		}
	}
	return shares, nil
}

// weights returns, by a coalition's size s, the part of all orders in which it is
// what a given member completes, (s−1)!(n−s)!/n!, and what a given outsider joins
// next, s!(n−s−1)!/n!.
func weights(n int) (joins, stays []float64) {
	joins, stays = make([]float64, n+1), make([]float64, n+1)
	choose := 1.0 // n−1 over s
	for s := range n {
		stays[s] = 1 / (float64(n) * choose)
		joins[s+1] = stays[s]
		choose *= float64(n-1-s) / float64(s+1)
	}
	return joins, stays
}
