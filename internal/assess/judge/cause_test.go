package judge

import (
	"strings"
	"testing"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// A bad contact is in one conductor of a feed, thin wire in both. Where the readings tell the
// conductors apart, as in a ring with two feeds, one cause is named. Otherwise, as with a single
// feed, both are, the contact first where no size or length is likely.
func TestThinWireOrBadContact(t *testing.T) {
	single := ring()
	single.Feeds = single.Feeds[:1]
	for _, c := range []struct {
		name    string
		change  func(p *calibrationtest.Plant)
		single  bool
		says    []string
		saysNot string
	}{
		{"a contact in the minus of a ring", func(p *calibrationtest.Plant) { p.Feeds[1].Minus += 0.15 }, false, []string{"a bad contact of some ", "in its minus"}, "AWG"},
		{"a contact of a feed of which only the ohms are stated", func(p *calibrationtest.Plant) { p.Feeds[1].Minus += 0.3 }, false, []string{"a bad contact of some 2", "in its minus"}, "length"},
		{"wire of a ring", func(p *calibrationtest.Plant) {
			p.Feeds[1].Plus *= 3
			p.Feeds[1].Minus *= 3
		}, false, []string{"20 AWG", "2.9 times the length"}, "in its"}, // 2.9 ± 0.2
		{"a contact of a single feed", func(p *calibrationtest.Plant) { p.Feeds[0].Plus += 4 * p.Feeds[0].Minus }, true, []string{"a bad contact of some ", "times the length"}, "in its"},
		{"wire of a single feed", func(p *calibrationtest.Plant) {
			p.Feeds[0].Plus *= 1.7
			p.Feeds[0].Minus *= 1.7
		}, true, []string{"18 AWG", "1.6 times the length", "a bad contact of some "}, "in its"},
	} {
		r := ring()
		if c.single {
			r = single
		}
		if strings.Contains(c.name, "only the ohms") {
			r.Feeds[1].WireOhms, r.Feeds[1].Conductor, r.Feeds[1].Length = 0, "", 0
		}
		a := assess(t, r, readAll(t, r, survey.Thorough(r), c.change))
		said := ""
		for _, e := range a.Elements {
			if e.Kind == run.KindFeed && e.Rail == run.Loop && e.Verdict == assessment.Fail {
				said += e.BehavesLike
			}
		}
		at := 0
		for _, want := range c.says { // in this order
			k := strings.Index(said[at:], want)
			if k < 0 {
				t.Errorf("%s: %q, no %q behind %d", c.name, said, want, at)
				break
			}
			at += k
		}
		if strings.Contains(said, c.saysNot) {
			t.Errorf("%s: %q", c.name, said)
		}
	}
}
