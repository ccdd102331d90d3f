package judge

import (
	"strings"
	"testing"

	fittest "ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// readLanding reads runtest.Landing in some steps, with its feeds' resistances times a factor.
func readLanding(t *testing.T, factor float64, steps ...string) (*run.Run, []reading.Reading) {
	t.Helper()
	r := runtest.Parse(t, runtest.Landing)
	var list []reading.Reading
	for _, step := range steps {
		for _, at := range []string{"A", "left.start", "left.end", "right.start", "right.end"} {
			list = append(list, reading.Reading{Step: step, From: at + "+", To: at + "-", Meter: "hand", Unit: "V"})
		}
		list = append(list, reading.Reading{Step: step, From: "left.end+", To: "right.start+", Meter: "hand", Unit: "V"},
			reading.Reading{Step: step, From: "right.start-", To: "left.end-", Meter: "hand", Unit: "V"})
		for _, feed := range []string{"near", "far"} {
			list = append(list, reading.Reading{Step: step, Quantity: run.Current, From: feed, Meter: "hand", Unit: "A"})
		}
	}
	fittest.FillAs(r, list, func(p *ladder.Parameters) {
		for i, f := range p.Feeds {
			p.Feeds[i] = ladder.Rails{Plus: f.Plus * factor, Minus: f.Minus * factor}
		}
	})
	return r, list
}

// A supply read 13.2 V for 12.3 makes every feed that hangs on it look bad, and nothing
// contradicts it: 13.2 V may be how it was trimmed. Two feeds that fail by that one reading
// alone are unproven, and the reading is named and to be read again first.
func TestOneSupplyReadingFailsNoTwoFeeds(t *testing.T) {
	for _, steps := range [][]string{{"full"}, {"half", "full"}} {
		r, list := readLanding(t, 1, steps...)
		right := assess(t, r, list)
		for _, name := range []string{"near", "far"} {
			if e := loopOf(t, right, run.KindFeed, name); e.Verdict == assessment.Fail {
				t.Fatalf("read right, feed %s is %s", name, e.Verdict)
			}
		}
		for i := range list {
			if list[i].From == "A+" && list[i].Step == "full" {
				list[i].Value += 0.9
			}
		}
		a := assess(t, r, list)
		for _, name := range []string{"near", "far"} {
			if e := loopOf(t, a, run.KindFeed, name); e.Verdict == assessment.Fail {
				t.Errorf("%v: feed %s fails: %.3f (%.3f to %.3f), limit %.3f", steps, name, e.Ohms, e.Low, e.High, e.Limit)
			}
		}
		named := false
		for _, f := range a.Findings {
			named = named || strings.Contains(f.Text, "A+ to A-")
		}
		if !named {
			t.Errorf("%v: the reading is not named:\n%s", steps, findings(a))
		}
		if len(steps) == 1 {
			settles := ""
			for _, n := range a.Next {
				settles += strings.Join(n.Settles, " ") + " "
			}
			if next := a.Next; len(next) == 0 || next[0].From != "A+" || next[0].Step != "full" || !strings.Contains(settles, "near") || !strings.Contains(settles, "far") {
				t.Errorf("%v: to be read next: %v", steps, next)
			}
		}
	}
}

// Two feeds that really are bad, read in two steps, fail.
func TestTwoBadFeedsFail(t *testing.T) {
	r, list := readLanding(t, 2, "half", "full")
	a := assess(t, r, list)
	for _, name := range []string{"near", "far"} {
		if e := loopOf(t, a, run.KindFeed, name); e.Verdict != assessment.Fail {
			t.Errorf("feed %s is %s: %.3f (%.3f to %.3f), limit %.3f", name, e.Verdict, e.Ohms, e.Low, e.High, e.Limit)
		}
	}
}

// One end of a reel was read at its other end, in every step. The reel seems to have no copper, and the
// feed at its end three times its own or an open conductor: it does not fail by that, and the mistake is
// named.
func TestImpossibleReelFailsNoFeed(t *testing.T) {
	r, list := readLanding(t, 1, "half", "full")
	start := map[string]float64{}
	for _, x := range list {
		if x.From == "right.start+" {
			start[x.Step] = x.Value
		}
	}
	for i := range list {
		if list[i].From == "right.end+" {
			list[i].Value = start[list[i].Step]
		}
	}
	a := assess(t, r, list)
	for _, e := range a.Elements {
		if e.Verdict == assessment.Fail {
			t.Errorf("%s %s fails: %.3f (%.3f to %.3f), limit %.3f", e.Kind, e.Name, e.Ohms, e.Low, e.High, e.Limit)
		}
	}
	if text := findings(a); !strings.Contains(text, "The voltages of right.end seem to be read at another place") {
		t.Error(text)
	}
}
