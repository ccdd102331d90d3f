package search

import (
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"slices"
	"testing"
)

// One wrong reading stayed in the fit, and up to four good ones near it were excluded. After the
// exchange the wrong one is excluded and the good ones are not. A reading out of its meter's range
// stays excluded and does not count.
func TestExchanges(t *testing.T) {
	const wrong, outOfRange = 11, 27 // north.start+ in the second and the last step, as 3 and 19 in others
	for _, c := range []struct {
		out      []int // good readings left out
		worse    int   // index of a second wrong reading, 0 for none
		replaced bool
	}{
		{[]int{19}, 0, true},
		{[]int{3, 19}, 0, true},
		{[]int{10, 12}, 0, false}, // of the joint's other end and of the reel's: they do not replace it
		{[]int{3, 10, 12, 19}, 0, true},
		{[]int{3, 10, 12, 19, 28}, 0, true},
		{[]int{3, 19}, 22, true}, // at another place, and excluded too
	} {
		r, list := modeltest.Cornice()
		list[wrong].Value += 0.3
		list[outOfRange].Value *= 1000
		if c.worse > 0 {
			list[c.worse].Value += 0.3
		}
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		if from := list[wrong].From; from != "north.start+" || !m.Observations[outOfRange].ExcludedForGood {
			t.Fatalf("reading %d is of %s, outOfRange is %v", wrong, from, m.Observations[outOfRange].ExcludedForGood)
		}
		a := m.Assume()
		for _, i := range c.out {
			a = a.Excluding(i)
		}
		before := a.Excluded
		fit := solved(t, m, a)
		after, _ := bestOf(append(fit.exchanges(), fit))
		want := before
		if c.replaced {
			want = make([]bool, len(before))
			want[wrong], want[outOfRange] = true, true
			if c.worse > 0 {
				want[c.worse] = true
			}
		}
		if got := after.Assumptions.Excluded; !slices.Equal(got, want) {
			t.Errorf("%v out: left out are %v, want %v", c.out, numbers(got), numbers(want))
		}
		if (after.Fit != fit.Fit) != c.replaced || c.replaced && after.SumSquares > fit.SumSquares/2 {
			t.Errorf("%v out: another fit is %v, its sum %g after %g", c.out, after.Fit != fit.Fit, after.SumSquares, fit.SumSquares)
		}
	}
}

// solved is a fit under some assumptions.
func solved(t *testing.T, m *model.Model, a model.Assumptions) explanation {
	t.Helper()
	fit, err := model.Solve(m, a, m.Start(a))
	if err != nil {
		t.Fatal(err)
	}
	return explanation{Fit: fit}
}

// numbers lists which are true.
func numbers(marks []bool) (list []int) {
	for i, out := range marks {
		if out {
			list = append(list, i)
		}
	}
	return list
}

// Readings share a point in either direction, or a feed; a current shares nothing with a voltage.
func TestSharesPoint(t *testing.T) {
	r, list := modeltest.Cornice()
	for _, points := range [][2]string{{"A+", "A-"}, {"west.end+", "west.end-"}, {"west.end+", "north.start+"}, {"north.start-", "west.end-"}, {"west.end-", "A-"}, {"near", ""}, {"near", ""}, {"far", ""}} {
		x := list[0]
		x.From, x.To = points[0], points[1]
		if x.To == "" {
			x.Quantity = list[6].Quantity
		}
		list = append(list, x)
	}
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	last := m.Observations[len(m.Observations)-8:]
	for i, want := range []string{"X...X...", ".XXXX...", ".XX.....", ".X.XX...", "XX.XX...", ".....XX.", ".....XX.", ".......X"} {
		for k := range last {
			if got := sharesPoint(last[i], last[k]); got != (want[k] == 'X') {
				t.Errorf("%d beside %d: %v", i, k, got)
			}
		}
	}
}
