package run

import "testing"

// The supply of a feed is found through any number of junctions, and a loop of junctions does
// not hang.
func TestSupplyOf(t *testing.T) {
	junction := func(i int) Place { return Place{Kind: AtJunction, Index: i} }
	strip := Place{Kind: AtReel, Pixel: 1}
	r := &Run{Supplies: []Supply{{Name: "A"}, {Name: "B"}}, Feeds: []Feed{
		{From: Place{Kind: AtSupply, Index: 1}, To: junction(0)},
		{From: junction(0), To: junction(1)},
		{From: junction(1), To: strip},
		{From: Place{Kind: AtSupply}, To: strip},
		{From: junction(2), To: junction(3)},
		{From: junction(3), To: junction(2)},
	}}
	for feed, want := range []string{"B", "B", "B", "A", "A", "A"} {
		if got := r.SupplyOf(feed).Name; got != want {
			t.Errorf("feed %d comes from %s, want %s", feed, got, want)
		}
	}
}
