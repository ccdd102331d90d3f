package cli

import (
	"fmt"
	"strings"
	"testing"
)

// What is planned is listed in walking order with what it settles; a joint that no
// reading tells of leaves the status unproven.
func TestPlan(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep plan shelf.toml`).exits(Passes).prints("enough to decide 2 of 2 joints and feeds", "then read", "voltage from", "joint left-right", "feed near")
	p := s.do(`ohmkeep plan shelf.toml --json`).exits(Passes)
	holds(t, decoded(t, p.out), `{"schema":1,"run":"Book shelf","meters":["bench"],"order":"…","steps":1,"points":3,"readings":3,
 "rounds":[{"step":"white","read":[{"quantity":"voltage","from":"A+","to":"A-","meter":"bench"}]}],
 "elements":[{"kind":"joint","name":"left-right","limit_milliohms":15,"stated_milliohms":3,"amps":1,"settled":true,"resolves_milliohms":1,"best_milliohms":1}]}`)
	if again := s.do(`ohmkeep plan shelf.toml --json`).out; again != p.out {
		t.Error("the same run gives another plan")
	}
	s.do(`ohmkeep plan shelf.toml --meter bench`).exits(Passes)
	s.do(`ohmkeep plan shelf.toml --meter bnech`).refused("no meter is named")
	s.do(`ohmkeep plan`).refused("wants RUN")
}

// A verdict is explained by the readings that carry it; the status stays the verdicts'.
func TestExplain(t *testing.T) {
	s := newSession(t)
	s.walk(60, everything)
	s.do(`ohmkeep assess shelf.toml readings.csv --explain left-right`).exits(Fails).prints("joint left-right: FAIL", "the pair voltages either side of it", "without", "still fail")
	s.do(`ohmkeep assess shelf.toml readings.csv --explain joint:left-right`).exits(Fails).prints("joint left-right: FAIL")
	x := decoded(t, s.do(`ohmkeep assess shelf.toml readings.csv --explain near --json`).exits(Fails).out)["explanation"].(map[string]any)
	holds(t, x, `{"kind":"feed","name":"near","rail":"loop",
 "parts":[{"readings":"…","step":"","rows":[2],"share":0.5,"known_without":true,"milliohms_without":1,"low_without":1}],
 "single":{"rows":[2],"share":0.1},"uncertainty":[{"from":"…","share":0.5}]}`)
	if why, told := x["why"]; told {
		t.Errorf("a feed that passes is unproven because %q", why)
	}
	first := strings.Join(strings.SplitAfter(s.content("readings.csv"), "\n")[:3], "")
	s.write("few.csv", first)
	few := s.do(`ohmkeep assess shelf.toml few.csv --explain near`)
	few.exits(Unproven).prints("feed near: UNPROVEN", "its value still follows more from the run file")
	few = s.do(`ohmkeep assess shelf.toml few.csv --explain near --json`)
	if why := decoded(t, few.out)["explanation"].(map[string]any)["why"]; !strings.Contains(fmt.Sprint(why), "its value still follows more from the run file") {
		t.Errorf("why: %v", why)
	}
	s.write("none.csv", strings.SplitAfter(first, "\n")[0])
	s.do(`ohmkeep assess shelf.toml none.csv`).exits(Unproven).prints("There are no readings of volts or amperes", "Nothing was read, so nothing is proven")
	none := s.do(`ohmkeep assess shelf.toml none.csv --json`)
	if none.exits(Unproven); strings.Count(none.out, `"probability_over_limit":null`) != strings.Count(none.out, "probability_over_limit") {
		t.Errorf("a probability without readings: %s", none.out)
	}
	if !strings.Contains(none.out, `"fit":{"converged":false,"chi_squared":0,"degrees_of_freedom":0,"p_value":null}`) {
		t.Errorf("a fit without readings: %s", none.out)
	}
	s.do(`ohmkeep assess shelf.toml none.csv --report none.html`).exits(Unproven)
	if page := s.content("none.html"); !strings.Contains(page, "Nothing was read, so nothing is proven") || strings.Contains(page, "found no answer") {
		t.Error("the page does not say that nothing was read")
	}
	s.do(`ohmkeep assess shelf.toml readings.csv --explain letf-right`).refused("did you mean \"left-right\"")
	s.do(`ohmkeep assess shelf.toml readings.csv --explain ""`).refused("no joint, feed, reel or supply")
}
