package run

import (
	"strings"
	"testing"
)

// branched is two supplies A and B, a block that A feeds, and three reels: west,
// north behind it with the plus cut, and a single pixel that follows nothing.
func branched() *Run {
	return &Run{
		Supplies:  []Supply{{Name: "A"}, {Name: "B"}},
		Junctions: []Junction{{Name: "block"}},
		Reels:     []Reel{{Name: "west", Pixels: 240, Follows: -1}, {Name: "north", Pixels: 300, Follows: 0}, {Name: "dot", Pixels: 1, Follows: -1}},
		Joints:    []Joint{{Name: "west-north", From: 0, To: 1, PlusCut: true}},
		Feeds: []Feed{
			{Name: "trunk", From: Place{Kind: AtSupply, Index: 0}, To: Place{Kind: AtJunction}},
			{Name: "near", From: Place{Kind: AtJunction}, To: Place{Kind: AtReel, Index: 0, Pixel: 1}},
			{Name: "far", From: Place{Kind: AtSupply, Index: 1}, To: Place{Kind: AtReel, Index: 1, Pixel: 300}},
			{Name: "dots", From: Place{Kind: AtJunction}, To: Place{Kind: AtReel, Index: 2, Pixel: 1}},
		},
	}
}

// TestNames: a place has one name that is written, and every other that is read.
func TestNames(t *testing.T) {
	r := branched()
	for name, written := range map[string]string{
		"A+": "A+", "block-": "block-", "west.start+": "west.start+", "west.1-": "west.start-", "west.240+": "west.end+",
		"west.17-": "west.17-", "west.17−": "west.17-", "dot.end+": "dot.start+",
	} {
		p, err := r.Point(name)
		if err != nil || r.PointName(p) != written {
			t.Errorf("%s: %s, %v", name, r.PointName(p), err)
		}
	}
	for name, want := range map[string]string{
		"":            "does not say which conductor",
		"A":           "such as A+",
		"+":           `no supply or junction is named ""`,
		"west+":       "west.start, west.end or west.<pixel number>",
		"blok-":       `did you mean "block"?`,
		"wets.start+": `did you mean "west"?`,
		"west.stat+":  `did you mean "start"?`,
		"west.0+":     "its pixels are 1 to 240",
		"west.241+":   "its pixels are 1 to 240",
		"west.007+":   `no place "007"`,
		"west.+":      `no place ""`,
		"A++":         "no supply",
	} {
		if _, err := r.Point(name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", name, err)
		}
	}
}

func TestRails(t *testing.T) {
	r := branched()
	if r.Unreached(Plus) != nil || r.Unreached(Minus) != nil || r.Unfed() != nil || r.Paralleled() != nil {
		t.Error("a sound run has something unreached, or supplies that meet")
	}
	r.Joints[0].PlusCut = false
	if got := r.Paralleled(); len(got) != 1 || got[0] != [2]int{0, 1} {
		t.Errorf("joined plus: %v", got)
	}
	if w := r.ParallelWarnings(); len(w) != 1 || !strings.Contains(w[0], "supplies A and B meet") {
		t.Errorf("warnings: %q", w)
	}
	r.Joints[0].PlusCut = true
	if w := r.ParallelWarnings(); w != nil {
		t.Errorf("apart: %q", w)
	}
	r.Feeds = r.Feeds[:2]
	if plus, minus := r.Unreached(Plus), r.Unreached(Minus); len(plus) != 2 || plus[0] != 1 || len(minus) != 1 || minus[0] != 2 {
		t.Errorf("without B's feed plus misses %v, minus %v", plus, minus)
	}
	r.Feeds = r.Feeds[1:]
	if got := r.Unfed(); len(got) != 1 {
		t.Errorf("without the trunk: %v", got)
	}
	r.Feeds = nil
	if got := r.Unfed(); got != nil {
		t.Errorf("a spare junction is unfed: %v", got)
	}
}

func TestRange(t *testing.T) {
	m := Meter{Ranges: []Range{{Quantity: Voltage, UpTo: 60}, {Quantity: Voltage, UpTo: 6}, {Quantity: Current, UpTo: 10}}}
	for _, c := range []struct {
		quantity Quantity
		value    float64
		want     int
	}{{Voltage, 5, 1}, {Voltage, -6, 1}, {Voltage, 6.1, 0}, {Voltage, 61, -1}, {Current, 5, 2}, {Temperature, 20, -1}} {
		if got := m.Range(c.quantity, c.value); got != c.want {
			t.Errorf("%v %g: range %d, want %d", c.quantity, c.value, got, c.want)
		}
	}
}

// TestLike: 18 AWG has 20.95 Ω/km and 22 AWG 52.96 (ASTM B258 and 1/58 Ω·mm²/m).
func TestLike(t *testing.T) {
	f := Feed{Conductor: "18 AWG", Material: "copper", Stranding: "solid", Length: 2.5}
	if got := f.Like(2 * 2.5 * 0.05296); got != "22 AWG" {
		t.Error(got)
	}
	f.Length = 0
	if got := f.Like(0.1); got != "" {
		t.Error(got)
	}
}
