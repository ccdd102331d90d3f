package repair

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/advise/loadlimit"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// long is an invented run of 15 m in three reels, 60 pixels a metre, 5 V, fed at one
// end through 2.4 m of 18 AWG.
func long(level float64, extra string) string {
	return runtest.Head("invented") + runtest.Supply("A", 5.1, 60, 5) + runtest.Reels(5, "one", "two", "three") +
		runtest.FeedFrom("near", "A", "one.start", 2.4, "18 AWG") + runtest.White("white", level) + extra
}

func plan(t testing.TB, file string, o Options) *Plan {
	t.Helper()
	r := runtest.Parse(t, file)
	p, err := Make(Stated(r), r.Steps[0], o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// find returns the options of a kind whose text holds a word.
func find(p *Plan, kind Kind, word string) []Option {
	var list []Option
	for _, o := range p.Options {
		if o.Repairs[0].Kind == kind && strings.Contains(o.Repairs[0].Text, word) {
			list = append(list, o)
		}
	}
	return list
}

// What installers say of such a run (common practice, no source): fed at one end it
// is usable as ambient light at a limiter of about 3 A, far from usable at full
// white, and feeding its far end lifts its worst pixel most of the way back.
func TestFifteenMetresFedAtOneEnd(t *testing.T) {
	r := runtest.Parse(t, long(1, ""))
	mix, _ := loadlimit.MixOf(r.Steps[0])
	level := (3.0 - mix.Limiter(r, 0)) / (mix.Limiter(r, 1) - mix.Limiter(r, 0))
	ambient := plan(t, long(level, ""), Options{})
	if amps := ambient.Mix.Limiter(r, ambient.Level); math.Abs(amps-3) > 1e-9 {
		t.Fatalf("limiter %g A", amps)
	}
	// Usable: every pixel is lit and keeps at least half of its light, and a warmer
	// far end is not another colour.
	if e := ambient.AsWired; e.Dimming.Value > 0.5 || e.Shift.Value > 0.07 || e.LeastVolts.Value < 2.5 || e.LeastVolts.Value > 4 {
		t.Errorf("at 3 A: %+v", e)
	}
	full := plan(t, long(1, ""), Options{})
	if e := full.AsWired; e.Dimming.Value < 0.9 || e.Verdict != assessment.Fail {
		t.Errorf("at full white: %+v", e)
	}
	lifted := false
	for _, o := range find(ambient, FarFeed, "three.end") {
		// Most of the way back: more than half of the light that was missing and of the shift.
		shift, volts, _, _ := ambient.Wins(o)
		lifted = lifted || shift > 0.5*ambient.AsWired.Shift.Value && o.Effect.Dimming.Value < 0.5*ambient.AsWired.Dimming.Value && volts > 0.8
	}
	if !lifted {
		t.Error("feeding the far end does not lift the worst pixel")
	}
}

// Ladders of equal currents have closed forms. Fed at one end through R the last of N
// pixels has E − I·R − i·r·N(N−1)/2; fed at both ends through equal R the middle one
// of an odd number has E − I·R/2 − i·r·(N−1)²/8, half of the current flowing from
// either end (d.c. distribution; Mehta, Principles of Power System, ch. 13, from
// memory, and summed here).
func TestFeedingTheFarEndIsTheClosedForm(t *testing.T) {
	const n, amps = 601, 0.0005
	file := fmt.Sprintf(`schema = 1
name = "invented"
[strip]
volts = 5
pixels_per_metre = 60
channels = ["red"]
channel_milliamps = %g
loop_milliohms_per_metre = 80
[[supply]]
name = "A"
volts = 5
amps = 10
[[reel]]
name = "one"
pixels = %d
[[feed]]
name = "near"
from = "A"
to = "one.start"
metres = 5
conductor = "1.5 mm2"
[[step]]
name = "red"
red = 1
[limits]
connector_milliohms = 0.001
feed_drop_percent = 50
`, amps*1000, n)
	p := plan(t, file, Options{FarMetres: 5})
	segment, wire := 0.08/60, 2*5/(58*1.5)
	if want := 5 - n*amps*wire - amps*segment*n*(n-1)/2; math.Abs(p.AsWired.LeastVolts.Value-want) > 1e-6 {
		t.Errorf("one end: %.8g V, closed form %.8g", p.AsWired.LeastVolts.Value, want)
	}
	far := find(p, FarFeed, "one.end")
	if len(far) == 0 {
		t.Fatal("no feed to the far end")
	}
	want := 5 - n*amps*wire/2 - amps*segment*(n-1)*(n-1)/8
	if got := far[0].Effect.LeastVolts.Value; math.Abs(got-want) > 2e-6 { // the connectors are 1 µΩ
		t.Errorf("both ends: %.8g V, closed form %.8g", got, want)
	}
}

// An edited run that is solved with edited parameters is the run that a file with
// the edit in it would state.
func TestParametersOfAnEditAreThoseOfTheEditedRun(t *testing.T) {
	files, err := filepath.Glob("../../../testdata/runs/*.toml")
	if err != nil || len(files) == 0 {
		t.Fatal("no runs", err)
	}
	edits := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		r := runtest.Parse(t, string(text))
		before := *r
		k := Stated(r)
		for i, j := range r.Joints {
			if !j.PlusCut {
				k.FailingJoints = append(k.FailingJoints, i)
			}
		}
		list, _ := propose(k, r.Steps[len(r.Steps)-1], Options{})
		for _, x := range list {
			if x.Kind == Trim {
				continue
			}
			edits++
			changed := x.edit.run(r)
			got, want := x.edit.parameters(k.Best.Parameters, r, changed), ladder.Stated(changed)
			if !reflect.DeepEqual(got, want) {
				t.Errorf("%s: %s: parameters\n%+v, the edited run states\n%+v", file, x.Text, got, want)
			}
			if len(changed.Paralleled()) > len(r.Paralleled()) || len(changed.Unreached(run.Plus)) > 0 {
				t.Errorf("%s: %s: joins two supplies or leaves a reel dark", file, x.Text)
			}
		}
		if !reflect.DeepEqual(*r, before) {
			t.Errorf("%s was changed by proposing", file)
		}
	}
	if edits < 30 {
		t.Errorf("only %d edits", edits)
	}
}

// Two edits together are one after the other, in either order.
func TestEditsAddUp(t *testing.T) {
	r := runtest.Parse(t, long(0.07, "[[joint]]\nbetween = [\"one\", \"two\"]\nmilliohms = 60\n[[joint]]\nbetween = [\"two\", \"three\"]\nmilliohms = 40\n"))
	k := Stated(r)
	list, _ := propose(k, r.Steps[len(r.Steps)-1], Options{})
	p := k.Best.Parameters
	pairs := 0
	for _, a := range list {
		for _, b := range list {
			if !together(&a, &b) {
				continue
			}
			pairs++
			both := a.edit.with(b.edit)
			whole := both.run(r)
			got := both.parameters(p, r, whole)
			if a.Kind == NewSupply {
				a, b = b, a // indexes of what is added come in the order of adding
			}
			first := a.edit.run(r)
			second := b.edit.run(first)
			want := b.edit.parameters(a.edit.parameters(p, r, first), first, second)
			if !reflect.DeepEqual(whole, second) || !reflect.DeepEqual(got, want) {
				t.Errorf("%s; %s:\n%+v\n%+v", a.Text, b.Text, got, want)
			}
		}
	}
	if pairs < 50 {
		t.Errorf("only %d pairs", pairs)
	}
}

// A run whose two bad joints both get too hot: neither alone is enough, so the pair
// is the cheapest that meets the limits, but for the limiter.
func TestThePairThatIsNeeded(t *testing.T) {
	extra := "[[joint]]\nbetween = [\"one\", \"two\"]\nmilliohms = 150\n[[joint]]\nbetween = [\"two\", \"three\"]\nmilliohms = 300\n" +
		"[limits]\nfeed_drop_percent = 50\ncolour_shift = 0.3\ndimming_percent = 90\n"
	p := plan(t, long(0.05, extra), Options{Limits: loadlimit.Allowances{JointWatts: 0.1}})
	if u := p.AsWired.State.Worst(); p.AsWired.Verdict != assessment.Fail || u.Criterion != limits.JointHeat {
		t.Fatalf("as wired: %v, %+v", p.AsWired.Verdict, u)
	}
	for _, o := range find(p, Remake, "remake joint") {
		if o.Effect.Verdict != assessment.Fail {
			t.Errorf("%s alone: %v", o.Repairs[0].Text, o.Effect.Verdict)
		}
	}
	if all := find(p, Remake, "all 2"); len(all) != 1 || all[0].Effect.Verdict != assessment.Pass {
		t.Errorf("both at once: %+v", all)
	}
	if p.Pair == nil || p.Pair.Effect.Verdict != assessment.Pass {
		t.Fatalf("pair: %+v", p.Pair)
	}
	_, _, watts, amps := p.Wins(*p.Pair)
	if watts < 0.05 || amps <= 0 {
		t.Errorf("the pair wins %g W and %g A", watts, amps)
	}
}

// What meets the limits comes first, the cheapest of it first; the limiter costs
// nothing, and holds.
func TestOrder(t *testing.T) {
	for _, file := range []string{long(0.07, ""), long(0.03, ""), long(1, "")} {
		p := plan(t, file, Options{})
		for i := 1; i < len(p.Options); i++ {
			a, b := p.Options[i-1], p.Options[i]
			if rank[a.Effect.Verdict] > rank[b.Effect.Verdict] || a.Effect.Verdict == assessment.Pass && b.Effect.Verdict == assessment.Pass && a.Cost() > b.Cost()+1e-9 {
				t.Errorf("%q stands before %q", a.Repairs[0].Text, b.Repairs[0].Text)
			}
		}
		if first := p.Options[0]; first.Repairs[0].Kind != Lower || first.Effect.Verdict != assessment.Pass || first.Cost() != 0 {
			t.Errorf("first: %+v", first.Repairs[0])
		}
	}
}

// Every kind of repair is proposed where it makes sense, with its cautions.
func TestProposals(t *testing.T) {
	p := plan(t, long(0.07, "[[joint]]\nbetween = [\"one\", \"two\"]\nmilliohms = 60\n"), Options{})
	for kind, words := range map[Kind][]string{
		Lower: {"limiter to"}, Trim: {"to 5.25 V"}, Remake: {"one-two"}, Renew: {"16 AWG", "14 AWG", "half"},
		FarFeed: {"three.end from A too, 17.4 m"}, MiddleFeed: {"two.151"}, NewSupply: {"the plus cut at joint one-two", "the plus cut at joint two-three"},
	} {
		for _, word := range words {
			found := find(p, kind, word)
			if len(found) == 0 {
				t.Errorf("no %q with %q", kind, word)
				continue
			}
			text := strings.Join(found[0].Repairs[0].Cautions, " ")
			for caution, kinds := range map[string][]Kind{
				"Disconnect":      {Remake, Renew, FarFeed, MiddleFeed, NewSupply},
				"Fuse a feed":     {Renew, FarFeed, MiddleFeed, NewSupply},
				"licensed people": {NewSupply},
				"Part the plus":   {NewSupply},
				"local codes":     {Renew, FarFeed, MiddleFeed, NewSupply},
				"data sheet":      {Trim},
			} {
				if slices.Contains(kinds, kind) && !strings.Contains(text, caution) {
					t.Errorf("%s says nothing of %q: %s", kind, caution, text)
				}
			}
		}
	}
	for _, o := range p.Options {
		if f := o.Repairs[0].Fuse; f > 0 && len(o.Repairs[0].edit.laid) > 0 && f > o.Repairs[0].edit.laid[0].Ampacity {
			t.Errorf("%s: a fuse of %g A", o.Repairs[0].Text, f)
		}
	}
	if o := find(plan(t, long(0.07, ""), Options{FarMetres: 4, Conductor: "4 mm2"}), FarFeed, "4 m of 4 mm2"); len(o) == 0 {
		t.Error("flags are not heeded")
	}
	// At its pixels' rating and a bit already: nothing to trim.
	if o := find(plan(t, strings.Replace(long(0.07, ""), "volts = 5.1", "volts = 5.24", 1), Options{}), Trim, ""); len(o) != 0 {
		t.Errorf("trims %s", o[0].Repairs[0].Text)
	}
}

// Another feed behind the cut would join the two supplies: no joint is offered.
func TestNoSecondSupplyBesideAnotherFeed(t *testing.T) {
	file := long(0.07, "[[feed]]\nname = \"middle\"\nfrom = \"A\"\nto = \"three.200\"\nmetres = 5\nconductor = \"14 AWG\"\n")
	if o := find(plan(t, file, Options{}), NewSupply, ""); len(o) != 0 {
		t.Errorf("%s", o[0].Repairs[0].Text)
	}
}

func TestReach(t *testing.T) {
	r := runtest.Parse(t, strings.Replace(long(0.07, ""), "[[feed]]", "[[reel]]\nname = \"side\"\nmetres = 2\nfollows = \"one\"\n[[feed]]", 1))
	way := measure(r, []run.Place{{Kind: run.AtReel, Index: 0, Pixel: 1}})
	for _, c := range []struct {
		place string
		want  float64
	}{{"one.end", 299.0 / 60}, {"two.start", 299.0 / 60}, {"three.end", 3 * 299.0 / 60}, {"side.end", (299.0 + 119) / 60}} {
		at, err := r.Place(c.place)
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := way.at(at); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%s: %g m, want %g", c.place, got, c.want)
		}
	}
	far, _ := way.farthest()
	if name := r.PlaceName(far); name != "three.end" {
		t.Errorf("farthest is %s", name)
	}
	if name := r.PlaceName(way.middle(r, far)); name != "two.150" && name != "two.151" {
		t.Errorf("the middle is %s", name)
	}
	var ends []string
	for _, e := range freeEnds(r) {
		ends = append(ends, r.PlaceName(e))
	}
	if !reflect.DeepEqual(ends, []string{"three.end", "side.end"}) {
		t.Errorf("free ends: %v", ends)
	}
	two := runtest.Parse(t, strings.Replace(long(0.07, ""), "[[reel]]\nname = \"three\"\nmetres = 5\n", "", 1))
	way = measure(two, []run.Place{{Kind: run.AtReel, Index: 0, Pixel: 1}})
	far, _ = way.farthest()
	if name := two.PlaceName(way.middle(two, far)); name != "one.end" && name != "two.start" {
		t.Errorf("the middle of two reels is %s, not their joint", name)
	}
}

func TestDarkSteps(t *testing.T) {
	r := runtest.Parse(t, long(0, ""))
	if _, err := Make(Stated(r), r.Steps[0], Options{}); !errors.Is(err, ErrDark) {
		t.Errorf("repair: %v", err)
	}
	if _, err := Rate(func(int) Basis { return Stated(r) }, -1, Options{}); !errors.Is(err, ErrNoColour) {
		t.Errorf("limit: %v", err)
	}
}

// A verdict needs the whole interval on one side; what nothing explains is unproven.
func TestVerdicts(t *testing.T) {
	r := runtest.Parse(t, long(0.03, "[limits]\nfeed_drop_percent = 4\n")) // 1.69 A through 100 mΩ, limit 204 mV
	k := Stated(r)
	try := func(k Basis) Effect {
		p, err := Make(k, r.Steps[0], Options{})
		if err != nil {
			t.Fatal(err)
		}
		return p.AsWired
	}
	off := func(by float64) Basis {
		uncertain := k
		uncertain.FromReadings = true
		var pair [2]estimate.FittedState
		for side, sign := range [2]float64{1, -1} {
			a := k.Best
			a.Parameters.Feeds = slices.Clone(a.Parameters.Feeds)
			a.Parameters.Feeds[0].Plus += sign * by
			pair[side] = a
		}
		uncertain.Sides = [][2]estimate.FittedState{pair}
		return uncertain
	}
	if e := try(k); e.Verdict != assessment.Pass {
		t.Errorf("as stated: %v, %+v", e.Verdict, e.Utilisation)
	}
	// The drop is R·I, so its interval is ±1.96 deviations of R times the current,
	// and that of the highest level the same part of the current, idle included.
	e := try(off(0.004))
	i := e.State.Amps
	drop := e.State.Utilisations[limits.FeedDrop]
	if want := 1.959964 * 0.004 * i / drop.Limit; e.Verdict != assessment.Pass || math.Abs(e.Utilisation.High-e.Utilisation.Value-want) > 1e-3*want || math.Abs(e.Utilisation.Value-e.Utilisation.Low-want) > 1e-3*want {
		t.Errorf("use %+v, wanted ± %g", e.Utilisation, want)
	}
	ohms := k.Best.Parameters.Feeds[0]
	want := 1.959964 * 0.004 / (ohms.Plus + ohms.Minus) * e.Limiter.Value
	if got := (e.Limiter.High - e.Limiter.Low) / 2; math.Abs(got-want) > 0.03*want {
		t.Errorf("limiter %+v, wanted ± %g", e.Limiter, want)
	}
	if e.Highest.Value != e.Rating.Level || e.Limiter.Value != e.Rating.State.Limiter {
		t.Errorf("highest %+v and limiter %+v are not those of %+v", e.Highest, e.Limiter, e.Rating)
	}
	if e := try(off(0.02)); e.Verdict != assessment.Unproven || e.Utilisation.High <= 1 {
		t.Errorf("20 mΩ not known: %v, %+v", e.Verdict, e.Utilisation)
	}
	doubt := off(0.001)
	doubt.Unexplained = true
	if e := try(doubt); e.Verdict != assessment.Unproven {
		t.Errorf("in doubt: %v", e.Verdict)
	}
}

// The limiter is the least over all colours of the steps.
func TestLimiterIsTheLeastOfTheColours(t *testing.T) {
	r := runtest.Parse(t, long(0.02, "[[step]]\nname = \"red\"\nred = 0.05\n[[step]]\nname = \"dim\"\nred = 0.01\ngreen = 0.01\nblue = 0.01\n"))
	l, err := Rate(func(int) Basis { return Stated(r) }, 0, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Colours) != 2 || l.Design != 0 || len(l.After) < 5 {
		t.Fatalf("%d colours, design %d, %d repairs", len(l.Colours), l.Design, len(l.After))
	}
	safe, decides := Limiter(l.Effects())
	least := math.Inf(1)
	for _, c := range l.Colours {
		if c.Effect.Rating.Binding.Subject != "" {
			least = math.Min(least, c.Effect.Limiter.Value)
		}
	}
	if safe.Value != least || decides < 0 {
		t.Errorf("%+v by colour %d, least %g", safe, decides, least)
	}
	if l.Verdict() != assessment.Pass {
		t.Errorf("%v", l.Verdict())
	}
}

func BenchmarkRepair(b *testing.B) {
	r := runtest.Parse(b, long(0.07, "[[joint]]\nbetween = [\"one\", \"two\"]\nmilliohms = 60\n"))
	for b.Loop() {
		if _, err := Make(Stated(r), r.Steps[0], Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// Where one repair alone does it for less, a pair of two that do not is no advice.
func TestPairClasses(t *testing.T) {
	pass, fail := Effect{Verdict: assessment.Pass}, Effect{Verdict: assessment.Fail}
	at := func(labour int, e Effect) Option { return Option{[]Repair{{Labour: labour}}, e} }
	p := &Plan{AsWired: fail, Options: []Option{at(1, fail), at(2, fail), at(4, fail), at(5, pass), at(9, pass)}}
	for _, c := range []struct {
		i, j  int
		meets bool
		want  int
	}{{1, 0, true, needed}, {1, 0, false, weak}, {2, 0, true, spare}, {3, 0, true, spare}, {4, 0, true, spare}, {2, 1, true, spare}} {
		if got := p.class(c.i, c.j, c.meets); got != c.want {
			t.Errorf("options %d and %d, %v: class %d, want %d", c.i, c.j, c.meets, got, c.want)
		}
	}
	p.AsWired = pass
	if p.class(1, 0, true) != spare {
		t.Error("a pair is needed although the run as wired meets the limits")
	}
}

// A pass needs the use of the limits and the highest level; either can fail a load.
func TestVerdictNeedsBoth(t *testing.T) {
	b := &bench{}
	for _, c := range []struct {
		use, highest interval.Interval
		want         assessment.Verdict
	}{
		{interval.New(0.7, 0.6, 0.8), interval.New(0.3, 0.25, 0.35), assessment.Pass},
		{interval.New(0.7, 0.6, 0.8), interval.New(0.3, 0.15, 0.35), assessment.Unproven},
		{interval.New(0.7, 0.6, 0.8), interval.New(0.15, 0.14, 0.16), assessment.Fail},
		{interval.New(0.9, 0.8, 1.1), interval.New(0.3, 0.25, 0.35), assessment.Unproven},
		{interval.New(1.2, 1.1, 1.3), interval.New(0.3, 0.25, 0.35), assessment.Fail},
	} {
		if got := b.verdict(Effect{Level: 0.2, Utilisation: c.use, Highest: c.highest}); got != c.want {
			t.Errorf("%+v, %+v: %v, want %v", c.use, c.highest, got, c.want)
		}
	}
}

// Two unknowns, each of which alone leaves every pixel above its knee: together they reach below it,
// and the interval of the shift covers that.
func TestKneesThatOnlyAllTogetherReach(t *testing.T) {
	r := runtest.Parse(t, strings.Replace(long(0.03, "[limits]\nfeed_drop_percent = 50\n"), "channel_milliamps = 12.0", "channel_milliamps = 12.0\nknee_volts = 3.6", 1))
	k := Stated(r)
	p, err := Make(k, r.Steps[0], Options{})
	if err != nil {
		t.Fatal(err)
	}
	room := p.AsWired.LeastVolts.Value - 3.6
	if room < 0.05 || p.AsWired.Shift.Value != 0 {
		t.Fatalf("%g V above the knee", room)
	}
	along := func(deviations []float64) estimate.FittedState {
		a := k.Best
		a.Parameters.Supplies = slices.Clone(a.Parameters.Supplies)
		for _, d := range deviations { // both shift the supply: by their sum, less than to the knee each
			a.Parameters.Supplies[0].Volts += 0.5 * room * d
		}
		return a
	}
	k.FromReadings, k.StateAt = true, along
	for j := range 2 {
		var one [2]float64
		one[j] = 1
		high := along(one[:])
		one[j] = -1
		k.Sides = append(k.Sides, [2]estimate.FittedState{high, along(one[:])})
	}
	if p, err = Make(k, r.Steps[0], Options{}); err != nil {
		t.Fatal(err)
	}
	if n := p.AsWired.Shift; n.Value != 0 || n.High <= 0.001 {
		t.Errorf("shift %+v", n)
	}
}

// The fuse that a feed has stays where it protects the new wire, and goes where it
// does not; a supply with two feeds is not hung nearer to one of them.
func TestRenewedFeeds(t *testing.T) {
	p := plan(t, strings.Replace(long(0.07, ""), "conductor = \"18 AWG\"", "conductor = \"18 AWG\"\nfuse_amps = 4", 1), Options{})
	for _, o := range find(p, Renew, "16 AWG") {
		if o.Repairs[0].Fuse != 4 {
			t.Errorf("a fuse of %g A", o.Repairs[0].Fuse)
		}
	}
	p = plan(t, strings.Replace(long(0.07, ""), "conductor = \"18 AWG\"", "conductor = \"18 AWG\"\nfuse_amps = 40", 1), Options{})
	for _, o := range find(p, Renew, "16 AWG") {
		if o.Repairs[0].Fuse != 10 { // IEC 60335-1 Table 11 allows 1 mm² 10 A, and 16 AWG is 1.31 mm²
			t.Errorf("a fuse of %g A", o.Repairs[0].Fuse)
		}
	}
	two := long(0.07, "[[feed]]\nname = \"far\"\nfrom = \"A\"\nto = \"three.end\"\nmetres = 12\nconductor = \"14 AWG\"\n")
	if o := find(plan(t, two, Options{}), Renew, "nearer"); len(o) != 0 {
		t.Errorf("%s", o[0].Repairs[0].Text)
	}
}

// A straight fall below the knee gives the same total current of the run as the cubic one,
// to first order: the knees
// are moved at the volts there are.
func TestStraightFallDrawsAsMuch(t *testing.T) {
	r := runtest.Parse(t, long(0.1, ""))
	k := Stated(r)
	k.knees = straightShift(k, r.Steps[0])
	amps := func(a estimate.FittedState) float64 {
		b := &bench{k: k, of: r}
		mix, level := loadlimit.MixOf(r.Steps[0])
		var err error
		if b.circuit, err = loadlimit.New(loadlimit.Condition{Run: r, Parameters: a.Parameters, Adjust: a.Adjust}, mix, loadlimit.Allowances{}); err != nil {
			t.Fatal(err)
		}
		s, err := b.circuit.Solve(level)
		if err != nil {
			t.Fatal(err)
		}
		return s.Amps
	}
	same := amps(k.straight(k.Best)) - amps(k.Best)
	unmoved := k
	unmoved.knees = 0
	other := amps(unmoved.straight(k.Best)) - amps(k.Best)
	if math.Abs(other) < 1e-3 || math.Abs(same) > 0.5*math.Abs(other) {
		t.Errorf("%g A more, and %g A where the knees stay", same, other)
	}
	full := runtest.Parse(t, long(0.01, ""))
	if shift := straightShift(Stated(full), full.Steps[0]); shift != 0 {
		t.Errorf("shifts knees by %g V where nothing starves", shift)
	}
}

// A joint above its limit is a failure of every plan that does not remake it, however
// small the load; a repair that remakes it and keeps the limits comes first, and the pair precedes
// the single repairs that fail.
func TestAJointAboveItsLimitFailsWhateverIsLit(t *testing.T) {
	bad := "[[joint]]\nbetween = [\"one\", \"two\"]\nmilliohms = 60\n"
	p := plan(t, long(0.01, bad), Options{})
	if e := p.AsWired; e.Verdict != assessment.Fail || e.LoadVerdict != assessment.Pass || !slices.Equal(e.Remaining, []string{"joint one-two"}) {
		t.Errorf("as wired: %v, the load %v, above their limits %v", e.Verdict, e.LoadVerdict, e.Remaining)
	}
	for _, file := range []string{long(0.01, bad), long(0.07, bad), long(0.07, bad+"[[joint]]\nbetween = [\"two\", \"three\"]\nmilliohms = 40\n")} {
		p := plan(t, file, Options{})
		ranked := p.Ranked()
		if len(ranked) != len(p.Options)+1 || !slices.IsSortedFunc(ranked, better) {
			t.Error("the pair is not in the order of the single repairs")
		}
		for _, o := range ranked {
			remakes := 0
			for _, one := range o.Repairs {
				if one.Kind == Remake {
					remakes++
				}
				if one.touches == "joints" {
					remakes = len(p.Basis.FailingJoints)
				}
			}
			if remakes < len(p.Basis.FailingJoints) && (o.Effect.Verdict == assessment.Pass || len(o.Effect.Remaining) == 0) {
				t.Errorf("%s: %v, above their limits %v", o.Repairs[0].Text, o.Effect.Verdict, o.Effect.Remaining)
			}
		}
	}
	if first := p.Options[0].Repairs[0]; first.Kind != Remake {
		t.Errorf("first: %s", first.Text)
	}
	r := runtest.Parse(t, long(0.01, bad))
	l, err := Rate(func(int) Basis { return Stated(r) }, 0, Options{})
	if err != nil || l.Verdict() != assessment.Fail {
		t.Errorf("limit: %v, %v", l.Verdict(), err)
	}
}
