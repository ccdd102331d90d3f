package colourloss

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// cove is an invented run: fed at both ends, starving in its middle at 30 % white.
var cove = runtest.Strip("Cove") + runtest.Reels(4, "west") + runtest.Reels(5, "north") + runtest.Reels(4, "east") +
	runtest.FeedFrom("near", "A", "west.start", 2.4, "18 AWG") + runtest.FeedFrom("far", "A", "east.end", 7.5, "16 AWG") +
	"[[step]]\nname = \"dark\"\n" + runtest.White("white 5 %", 0.05) + runtest.White("white 12 %", 0.12) + runtest.White("white 30 %", 0.3) +
	"[limits]\ndesign_step = \"white 5 %\"\n"

func made(t testing.TB, r *run.Run, step string, e *estimate.Estimate, at string) *Appearance {
	t.Helper()
	var spot *run.Place
	if at != "" {
		p, err := r.Place(at)
		if err != nil {
			t.Fatal(err)
		}
		spot = &p
	}
	a, err := Make(r, r.StepIndex(step), e, spot)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// change replaces pairs of texts in cove, each of which must be there.
func change(t testing.TB, pairs ...string) string {
	t.Helper()
	src := cove
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(src, pairs[i]) {
			t.Fatalf("%q is not in the run", pairs[i])
		}
		src = strings.ReplaceAll(src, pairs[i], pairs[i+1])
	}
	return src
}

// addUp fails where the shares of the spot are not its values.
func addUp(t *testing.T, a *Appearance) {
	t.Helper()
	v, s, d := 0.0, 0.0, 0.0
	for _, x := range a.Shares {
		v, s, d = v+x.Volts.Value, s+x.Shift.Value, d+x.Dimming.Value
		for _, k := range []interval.Interval{x.Volts, x.Shift, x.Dimming} {
			if !(k.Low <= k.Value && k.Value <= k.High) {
				t.Errorf("%s %v: %+v", x.Kind, x.Names, k)
			}
		}
	}
	lost := a.Run.Reels[a.Worst.Place.Index].Strip.Volts - a.Worst.Volts.Value
	if math.Abs(v-lost) > 1e-4 || math.Abs(s-a.Worst.Shift.Value) > 1e-5 || math.Abs(d-a.Worst.Dimming.Value) > 1e-4 {
		t.Errorf("shares add up to %g V, %g, %g; the spot has %g V, %g, %g", v, s, d, lost, a.Worst.Shift.Value, a.Worst.Dimming.Value)
	}
}

func shareOf(t *testing.T, a *Appearance, kind run.Kind, name string) Share {
	t.Helper()
	for _, s := range a.Shares {
		if s.Kind == kind && (name == "" || len(s.Names) == 1 && s.Names[0] == name) {
			return s
		}
	}
	t.Fatalf("no share of %s %s in %+v", kind, name, a.Shares)
	return Share{}
}

// At constant currents causes do not touch each other, so each one's share of the
// volts is its own drop, by hand: an end-fed chain at 2 % white, 780 pixels of
// 1.52 mA; the copper's drop at the far end is I·R/2 of the spread load (one segment
// less), for 0.08/60 Ω a segment.
func TestSharesAreDropsWhereCurrentsAreConstant(t *testing.T) {
	src := cove
	far := strings.Index(src, "[[feed]]\nname = \"far\"")
	src = src[:far] + src[strings.Index(src, "[[step]]"):]
	src = strings.Replace(src, "[[step]]\nname = \"white 5 %\"\nred = 0.05\ngreen = 0.05\nblue = 0.05", "[[joint]]\nbetween = [\"west\", \"north\"]\nmilliohms = 40\n[[step]]\nname = \"white 5 %\"\nred = 0.02\ngreen = 0.02\nblue = 0.02", 1)
	a := made(t, runtest.Parse(t, src), "white 5 %", nil, "east.end")
	const each = 3*0.012*0.02 + 0.0008
	const segment = 0.08 / 60
	copper := 0.0 // segments only: the two joints have no copper of their own
	for k := 1; k < 780; k++ {
		if k != 240 && k != 540 {
			copper += segment * each * float64(780-k)
		}
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"copper", shareOf(t, a, run.KindReel, "").Volts.Value, copper},
		{"joint west-north", shareOf(t, a, run.KindJoint, "west-north").Volts.Value, 0.040 * each * 540},
		{"joint north-east", shareOf(t, a, run.KindJoint, "north-east").Volts.Value, 0.003 * each * 240},
		{"feed near", shareOf(t, a, run.KindFeed, "near").Volts.Value, a.Run.Feeds[0].Ohms * each * 780},
		{"supply A", shareOf(t, a, run.KindSupply, "A").Volts.Value, 0.005*each*780 - 0.1},
	} {
		if math.Abs(c.got-c.want) > 2e-4 {
			t.Errorf("%s: %.6f V, want %.6f", c.name, c.got, c.want)
		}
	}
	addUp(t, a)
	if a.Change != Neither || a.Verdict != assessment.Pass || len(a.Stretches) != 0 {
		t.Errorf("%+v", a.Worst)
	}
}

// In a starving run shares still add up, and the bad joint has the greatest among
// joints; a run without it is better by at least as much.
func TestSharesOfAStarvingRun(t *testing.T) {
	bad := change(t, "[[step]]\nname = \"dark\"", "[[joint]]\nbetween = [\"west\", \"north\"]\nmilliohms = 100\n[[step]]\nname = \"dark\"")
	a := made(t, runtest.Parse(t, bad), "white 30 %", nil, "")
	addUp(t, a)
	joint, other := shareOf(t, a, run.KindJoint, "west-north"), shareOf(t, a, run.KindJoint, "north-east")
	if joint.Shift.Value < 5*other.Shift.Value || joint.Shift.Value <= 0 {
		t.Errorf("the bad joint has %g, the other %g", joint.Shift.Value, other.Shift.Value)
	}
	sound := made(t, runtest.Parse(t, cove), "white 30 %", nil, a.Worst.Name)
	// Above its knee a pixel forgives a drop, so what joins last costs more than its share.
	if won := a.Worst.Shift.Value - sound.Worst.Shift.Value; won < joint.Shift.Value || won > 0.5*a.Worst.Shift.Value {
		t.Errorf("a sound joint wins %g, its share is %g", won, joint.Shift.Value)
	}
	if trim := shareOf(t, a, run.KindSupply, "A"); trim.Volts.Value >= 0 {
		t.Errorf("a supply trimmed 0.1 V up takes %g V", trim.Volts.Value)
	}
	// The verdict is on the run, for any chosen pixel.
	start := made(t, runtest.Parse(t, bad), "white 30 %", nil, "west.start")
	if start.Verdict != assessment.Fail || start.Worst.Name != "west.start" || !start.Asked || len(start.Shares) != len(a.Shares) {
		t.Errorf("verdict %v on %s", start.Verdict, start.Worst.Name)
	}
	addUp(t, start)
	if a.Change != ColourOnly || a.Asked || a.Verdict != assessment.Fail {
		t.Errorf("change %v, verdict %v", a.Change, a.Verdict)
	}
}

// What is beyond a limit is found pixel by pixel, whichever limit is left first, and
// the worst spot is in it.
func TestPlaces(t *testing.T) {
	for _, c := range []struct {
		limit   string
		dimming float64
	}{{"8", 0.08}, {"1", 0.01}} {
		a := made(t, runtest.Parse(t, change(t, "[limits]", "[limits]\ndimming_percent = "+c.limit)), "white 30 %", nil, "")
		beyond := map[string][2]bool{}
		for _, p := range a.Stretches {
			for k := p.From; k <= p.To; k++ {
				beyond[p.Reel+strconv.Itoa(k)] = [2]bool{p.Colour, p.Dim}
			}
			if !p.Colour && !p.Dim {
				t.Errorf("%+v is beyond nothing", p)
			}
		}
		kinds := map[[2]bool]bool{}
		worst := 0.0
		for _, reel := range a.Reels {
			for k, p := range reel.Pixels {
				out := [2]bool{p.Shift > 0.004, p.Dimming() > c.dimming}
				if kinds[out] = true; out != beyond[reel.Name+strconv.Itoa(k+1)] {
					t.Fatalf("%s %d: %+v", reel.Name, k+1, p)
				}
				worst = math.Max(worst, p.Shift)
			}
		}
		if len(kinds) != 3 {
			t.Errorf("limit %s %%: only %v", c.limit, kinds)
		}
		if a.Worst.Shift.Value < worst-1e-6 {
			t.Errorf("the worst spot has %g, another pixel %g", a.Worst.Shift.Value, worst)
		}
		if white := a.Worst; !white.Whiteness.Valid || white.Whiteness.Kelvin < 6000 || white.SeenAs.Valid && white.SeenAs.Kelvin >= white.Whiteness.Kelvin {
			t.Errorf("white %+v is seen as %+v", white.Whiteness, white.SeenAs)
		}
	}
}

// Where nothing comes near a limit the pixel of the least volts is looked into.
func TestWorstOfASoundRun(t *testing.T) {
	a := made(t, runtest.Parse(t, cove), "white 5 %", nil, "")
	for _, reel := range a.Reels {
		for k, p := range reel.Pixels {
			if p.Volts < a.Worst.Volts.Value-1e-7 {
				t.Fatalf("%s %d has %g V, %s %g V", reel.Name, k+1, p.Volts, a.Worst.Name, a.Worst.Volts.Value)
			}
		}
	}
}

// Dimmer only, colour only, both: by limits that only one of them is beyond.
func TestChanges(t *testing.T) {
	for _, c := range []struct {
		limits string
		want   Change
	}{
		{"colour_shift = 0.5\ndimming_percent = 99", Neither},
		{"colour_shift = 0.5\ndimming_percent = 5", DimmerOnly},
		{"colour_shift = 0.001\ndimming_percent = 99", ColourOnly},
		{"colour_shift = 0.001\ndimming_percent = 5", Both},
	} {
		a := made(t, runtest.Parse(t, change(t, "[limits]", "[limits]\n"+c.limits)), "white 30 %", nil, "")
		if a.Change != c.want || (a.Verdict == assessment.Pass) != (c.want == Neither) {
			t.Errorf("%s: change %v, verdict %v", c.limits, a.Change, a.Verdict)
		}
	}
}

// A run of many parts is split among few: the bad joint by its own name, the sound
// ones together, and all of it adds up.
func TestManyJointsAreTakenTogether(t *testing.T) {
	var src strings.Builder
	head, rest, _ := strings.Cut(cove, "[[reel]]")
	src.WriteString(head)
	for i := range 14 {
		src.WriteString("[[reel]]\nname = \"r" + strconv.Itoa(i) + "\"\nmetres = 1.0\n")
	}
	src.WriteString("[[joint]]\nbetween = [\"r8\", \"r9\"]\nmilliohms = 90\n")
	rest = rest[strings.Index(rest, "[[feed]]"):]
	rest = strings.NewReplacer("west.start", "r0.start", "east.end", "r5.end").Replace(rest)
	src.WriteString(rest)
	a := made(t, runtest.Parse(t, src.String()), "white 30 %", nil, "")
	addUp(t, a)
	if len(a.Shares) > mostPlayers {
		t.Errorf("%d shares", len(a.Shares))
	}
	if s := shareOf(t, a, run.KindJoint, "r8-r9"); s.Volts.Value <= 0 {
		t.Errorf("%+v", s)
	}
	named := 0
	for _, s := range a.Shares {
		if s.Kind == run.KindJoint {
			named += len(s.Names)
		}
	}
	if named != 13 {
		t.Errorf("%d of 13 joints have a share", named)
	}
}

// Two supplies whose plus is cut apart: conductors that only the other supply feeds have no share,
// and the cut itself has none.
func TestSplitOfPartedPlus(t *testing.T) {
	src := change(t, "from = \"A\"\nto = \"east.end\"", "from = \"B\"\nto = \"east.end\"",
		"[[reel]]\nname = \"west\"", "[[supply]]\nname = \"B\"\nvolts = 4.9\namps = 20\n[[reel]]\nname = \"west\"",
		"[[step]]\nname = \"dark\"", "[[joint]]\nbetween = [\"north\", \"east\"]\nplus = \"cut\"\n[[step]]\nname = \"dark\"")
	a := made(t, runtest.Parse(t, src), "white 30 %", nil, "north.end")
	addUp(t, a)
	if s := shareOf(t, a, run.KindFeed, "far"); math.Abs(s.Volts.Value) > 1e-3 {
		t.Errorf("the other side's feed has %g V", s.Volts.Value)
	}
	if s := shareOf(t, a, run.KindSupply, "B"); math.Abs(s.Volts.Value) > 1e-3 {
		t.Errorf("the other side's supply has %g V", s.Volts.Value)
	}
}

func TestDarkStepIsRefused(t *testing.T) {
	r := runtest.Parse(t, cove)
	if _, err := Make(r, r.StepIndex("dark"), nil, nil); !errors.Is(err, ErrDark) || !strings.Contains(err.Error(), `"dark"`) {
		t.Error(err)
	}
}

// Common practice, no source: a 15 m run of 60 pixels a metre at 5 V, fed at one end
// through 2.4 m of 18 AWG, does as ambient light at a limiter of about 3 A and is far
// from it at full white; a feed at its far end lifts the worst pixel most of the way
// back. Asserted as ranges.
func TestCommonPractice(t *testing.T) {
	const run15 = `schema = 1
name = "ambient"
[strip]
volts = 5.0
pixels_per_metre = 60
channel_milliamps = 12.0
idle_milliamps = 0.6
loop_milliohms_per_metre = 70.0
[[supply]]
name = "A"
volts = 5.2
amps = 40
[[reel]]
name = "strip"
metres = 15
[[feed]]
name = "near"
from = "A"
to = "strip.start"
metres = 2.4
conductor = "18 AWG"
[[step]]
name = "3 A"
red = 0.077
green = 0.077
blue = 0.077
[[step]]
name = "full white"
red = 1
green = 1
blue = 1
`
	ambient := made(t, runtest.Parse(t, run15), "3 A", nil, "strip.end")
	white := made(t, runtest.Parse(t, run15), "full white", nil, "strip.end")
	both := run15 + "[[feed]]\nname = \"far\"\nfrom = \"A\"\nto = \"strip.end\"\nmetres = 2.4\nconductor = \"18 AWG\"\n"
	fed := made(t, runtest.Parse(t, both), "3 A", nil, "")
	if d := ambient.Worst.Dimming.Value; d > 0.5 {
		t.Errorf("at 3 A the far end is %.0f %% dimmer", 100*d)
	}
	if d := white.Worst.Dimming.Value; d < 0.8 || white.Worst.Shift.Value < 0.1 {
		t.Errorf("at full white the far end is %.0f %% dimmer, %g off colour", 100*d, white.Worst.Shift.Value)
	}
	if fed.Worst.Shift.Value > 0.2*ambient.Worst.Shift.Value+0.004 || fed.Worst.Dimming.Value > 0.2*ambient.Worst.Dimming.Value+0.01 {
		t.Errorf("fed at both ends %+v, at one %+v", fed.Worst, ambient.Worst)
	}
	t.Logf("3 A: %.2f V, %.0f %% dimmer, %.4f; full white: %.2f V, %.0f %%, %.4f; far end fed: %.2f V, %.0f %%, %.4f",
		ambient.Worst.Volts.Value, 100*ambient.Worst.Dimming.Value, ambient.Worst.Shift.Value,
		white.Worst.Volts.Value, 100*white.Worst.Dimming.Value, white.Worst.Shift.Value,
		fed.Worst.Volts.Value, 100*fed.Worst.Dimming.Value, fed.Worst.Shift.Value)
}

// Strips of 12 V and 24 V whose chips drive several LEDs in a row, white-only ones,
// and every driver: what each does when the volts fall.
func TestDriversAndVoltages(t *testing.T) {
	strip := func(volts, chips, driver, channels, lit string) string {
		src := change(t, "volts = 5.0\npixels_per_metre = 60\ndriver = \"linear\"\nchannel_milliamps = 12.0",
			"volts = "+volts+"\npixels_per_metre = "+chips+"\ndriver = \""+driver+"\"\nchannels = ["+channels+"]\nchannel_milliamps = 12.0",
			"volts = 5.1", "volts = "+volts)
		return src[:strings.Index(src, "[[step]]")] + "[[step]]\nname = \"lit\"\n" + lit
	}
	const rgb, rgbw, white = `"red", "green", "blue"`, `"red", "green", "blue", "white"`, `"white"`
	for _, c := range []struct {
		name, src     string
		dims, colours bool
		runsAway      bool
	}{
		{"12 V linear, 20 chips a metre", strip("12", "20", "linear", rgb, "red = 1\ngreen = 1\nblue = 1"), false, false, false},
		{"24 V linear, 10 chips a metre", strip("24", "10", "linear", rgb, "red = 1\ngreen = 1\nblue = 1"), false, false, false},
		{"12 V resistors", strip("12", "20", "resistor", rgb, "red = 1\ngreen = 1\nblue = 1"), true, true, false},
		{"24 V white only, resistors", strip("24", "60", "resistor", white, "white = 1"), true, false, false},
		{"5 V RGBW, white alone starves without changing colour", strip("5", "60", "linear", rgbw, "white = 0.9"), true, false, false},
		{"5 V RGBW, all", strip("5", "60", "linear", rgbw, "red = 0.5\ngreen = 0.5\nblue = 0.5\nwhite = 0.5"), true, true, false},
		{"12 V regulated, little load", strip("12", "20", "regulated", rgb, "red = 0.1\ngreen = 0.1\nblue = 0.1"), false, false, false},
		{"12 V regulated, overloaded", strip("12", "60", "regulated", rgb, "red = 1\ngreen = 1\nblue = 1"), true, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := made(t, runtest.Parse(t, c.src), "lit", nil, "")
			addUp(t, a)
			if dims := a.Worst.Dimming.Value > 0.02; dims != c.dims {
				t.Errorf("dimmer by %g", a.Worst.Dimming.Value)
			}
			if colours := a.Worst.Shift.Value > 1e-4; colours != c.colours {
				t.Errorf("off colour by %g", a.Worst.Shift.Value)
			}
			if away := strings.Contains(strings.Join(a.Warnings, "\n"), "runs away"); away != c.runsAway {
				t.Errorf("warnings %q", a.Warnings)
			}
		})
	}
}

// Assumed primaries are reported, stated ones are not.
func TestUsualPrimariesAreTold(t *testing.T) {
	if a := made(t, runtest.Parse(t, cove), "white 5 %", nil, ""); !strings.Contains(strings.Join(a.Warnings, "\n"), "no primaries for red, green, blue") {
		t.Errorf("%q", a.Warnings)
	}
	stated := change(t, "[[supply]]", "[strip.primaries]\nred = {nanometres = 625}\ngreen = {nanometres = 525}\nblue = {nanometres = 465}\n[[supply]]")
	if a := made(t, runtest.Parse(t, stated), "white 5 %", nil, ""); strings.Contains(strings.Join(a.Warnings, "\n"), "primaries") {
		t.Errorf("%q", a.Warnings)
	}
}

func BenchmarkMake(b *testing.B) {
	r := runtest.Parse(b, cove)
	for b.Loop() {
		if _, err := Make(r, r.StepIndex("white 30 %"), nil, nil); err != nil {
			b.Fatal(err)
		}
	}
}

// A verdict names what it rests on that the run file does not state: the volts at which
// channels starve. Stated, or not lit, they are not named.
func TestAssumedKneesAreNamed(t *testing.T) {
	const file = `schema = 1
name = "invented"
[strip]
volts = 24
pixels_per_metre = 10
channel_milliamps = 12.0
loop_milliohms_per_metre = 20
%s
[[supply]]
name = "A"
volts = 24
amps = 20
[[reel]]
name = "one"
metres = 5
[[feed]]
name = "near"
from = "A"
to = "one.start"
milliohms = 50
[[step]]
name = "white"
red = 0.5
green = 0.5
`
	for keys, want := range map[string]string{
		"": "no knee_volts for red, green:", "knee_volts = 19": "", "knee_volts = {red = 16}": "no knee_volts for green:",
		"driver = \"resistor\"": "no forward_volts for red, green:", "driver = \"resistor\"\nforward_volts = 15": "",
		"driver = \"resistor\"\nohms = 500": "", "driver = \"regulated\"": "no knee_volts for red, green:",
	} {
		r := runtest.Parse(t, fmt.Sprintf(file, keys))
		a, err := Make(r, 0, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		if want == "" && a.Assumed != "" || !strings.Contains(a.Assumed, want) || (want != "") != slices.Contains(a.Warnings, a.Assumed) {
			t.Errorf("%q: assumed %q, warnings %q", keys, a.Assumed, a.Warnings)
		}
	}
}
