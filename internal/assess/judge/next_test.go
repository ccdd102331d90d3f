package judge

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// operator is a simulated person with a run and a meter, each with true errors, who takes the
// readings requested.
type operator struct {
	t     *testing.T
	r     *run.Run
	plant *calibrationtest.Plant
	meter *calibrationtest.Meter
	list  []reading.Reading
}

// newOperator draws the truth of a run, with a bad joint if bad, and of its meter.
func newOperator(t *testing.T, r *run.Run, bad bool, rng *rand.Rand) *operator {
	h := &operator{t: t, r: r, plant: calibrationtest.New(r, calibrationtest.UsualSpread, rng), meter: calibrationtest.NewMeter(r.Meters[0], rng)}
	if j := rng.IntN(len(r.Joints)); bad && !r.Joints[j].PlusCut {
		whole, part := 0.025+0.125*rng.Float64(), rng.Float64()
		h.plant.Joints[j] = ladder.Rails{Plus: whole * part, Minus: whole * (1 - part)}
	}
	var places []run.Place
	for i, reel := range r.Reels {
		for quarter := range 5 {
			places = append(places, run.Place{Kind: run.AtReel, Index: i, Pixel: 1 + (reel.Pixels-1)*quarter/4})
		}
	}
	if err := h.plant.Open(places...); err != nil {
		t.Fatal(err)
	}
	return h
}

func (h *operator) read(step int, v survey.Visit) {
	if err := h.plant.Set(step); err != nil {
		h.t.Fatal(err)
	}
	text, value, ok := h.meter.Indicate(v.Quantity, v.From+" "+v.To, h.plant.True(v))
	if !ok {
		return
	}
	h.list = append(h.list, reading.Reading{Row: len(h.list) + 2, Time: time.Unix(0, 0), Step: h.r.Steps[step].Name, Quantity: v.Quantity,
		From: v.From, To: v.To, Meter: h.r.Meters[0].Name, Text: text, Value: value, Unit: "V"})
}

// verdictOf returns the verdict on the loop of that name, and unproven if there is none.
func verdictOf(a *assessment.Assessment, name string) assessment.Verdict {
	for _, e := range a.Elements {
		if e.Name == name && e.Rail == run.Loop {
			return e.Verdict
		}
	}
	return assessment.Unproven
}

// asFew is the binomial probability of so few misses or fewer among n where one in ten
// is a miss. It is 5 % or less for none among 29, one among 46, two among 61.
func asFew(misses, n int) float64 {
	sum, term := 0.0, math.Pow(0.9, float64(n))
	for k := range misses + 1 {
		sum += term
		term *= float64(n-k) / float64(k+1) * 0.1 / 0.9
	}
	return sum
}

// Too little was read. The first proposed reading decides what it promises, and all of them
// together too, in nine of ten cases or more, for each way of reading too little; for all ways
// together with 95 % confidence, which needs the full number of runs.
func TestProposedReadingsDecide(t *testing.T) {
	full := everyCase()
	promises, broken, together, amiss := 0, 0, 0, 0
	all := func(survey.Visit) bool { return true }
	for _, c := range []struct {
		name  string
		times int // as many runs: of such a reading fewer are unproven
		least int // one in so many of which something is proposed; nearly everything was read already
		steps []int
		reads func(v survey.Visit) bool
	}{
		{"only the ends", 3, 3, []int{0, 1, 2, 3}, func(v survey.Visit) bool { return v.Quantity == run.Current || !strings.HasPrefix(v.From, "r") }},
		{"no currents", 2, 3, []int{0, 1, 2, 3}, func(v survey.Visit) bool { return v.Quantity == run.Voltage }},
		{"one step", 6, 4, []int{3}, all},
		{"everything", 4, 7, []int{0, 1, 2, 3}, all},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(8, 15))
			unproven, with, first, firstHeld, every, everyHeld := 0, 0, 0, 0, 0, 0
			for i := range c.times * max(*simulations*24/200, 1) {
				r := draw(rng)
				h := newOperator(t, r, i%2 == 0, rng)
				for _, step := range c.steps {
					for _, v := range survey.Thorough(r) {
						if c.reads(v) || endOfRun(r, v) {
							h.read(step, v)
						}
					}
				}
				a := assess(t, r, h.list)
				if a.Verdict != assessment.Unproven {
					continue
				}
				unproven++
				if len(a.Next) == 0 {
					continue
				}
				with++
				for k, n := range a.Next {
					h.read(r.StepIndex(n.Step), survey.Visit{Quantity: n.Quantity, From: n.From, To: n.To})
					if k == 0 && len(n.Settles) > 0 {
						b := assess(t, r, h.list)
						for _, name := range n.Settles {
							first++
							if verdictOf(b, name) != assessment.Unproven {
								firstHeld++
							}
						}
					}
				}
				b := assess(t, r, h.list)
				for _, n := range a.Next {
					for _, name := range n.Settles {
						every++
						if verdictOf(b, name) != assessment.Unproven {
							everyHeld++
						}
					}
				}
			}
			t.Logf("%d runs unproven, %d with proposals; first: %d of %d settled; all: %d of %d", unproven, with, firstHeld, first, everyHeld, every)
			promises, broken, together, amiss = promises+first, broken+first-firstHeld, together+every, amiss+every-everyHeld
			if full && first < 3 || float64(firstHeld) < 0.9*float64(first) || float64(everyHeld) < 0.9*float64(every) {
				t.Error("proposals do not settle what they say")
			}
			if with < unproven/c.least {
				t.Error("hardly anything is proposed")
			}
		})
	}
	t.Logf("first: %d of %d; all: %d of %d", promises-broken, promises, together-amiss, together)
	if promises == 0 || full && (asFew(broken, promises) > 0.05 || asFew(amiss, together) > 0.05) {
		t.Error("too many proposals do not settle what they say, or too few were made to tell")
	}
}

// endOfRun reports whether a visit is to the first or the last pixel of the run.
func endOfRun(r *run.Run, v survey.Visit) bool {
	last := r.Reels[len(r.Reels)-1].Name
	return v.From == r.Reels[0].Name+".start+" || v.From == last+".end+"
}

// In a run fed at one place and read only at both ends, the sum between them is known. The
// finding names it with its elements, and it holds the truth.
func TestInseparableElementsAreNamed(t *testing.T) {
	groups, held, told := 0, 0, 0
	seeds := uint64(min(40, 5**simulations))
	for seed := range seeds {
		rng := rand.New(rand.NewPCG(seed, 3))
		r := draw(rng)
		if len(r.Feeds) != 1 || r.Supplies[0].Volts > 6 {
			continue
		}
		h := newOperator(t, r, seed%2 == 0, rng)
		for step := range r.Steps {
			for _, v := range survey.Thorough(r) {
				if v.Quantity == run.Current || !strings.HasPrefix(v.From, "r") || endOfRun(r, v) {
					h.read(step, v)
				}
			}
		}
		j, err := judgeReadings(r, h.list)
		if err != nil {
			t.Fatal(err)
		}
		told += strings.Count(findings(j.out), "The readings cannot tell")
		for _, g := range j.est.Inseparable(j.unproven()) {
			groups++
			truth := 0.0
			for k, i := range g.Elements {
				e := &j.est.Elements[i]
				one := trueLoop(r, h.plant, assessment.Element{Kind: e.Kind, Name: j.name(e)})
				if e.Kind == run.KindReel {
					one *= r.Reels[e.Index].CopperLength()
				}
				truth += g.Parts[k] * one
			}
			if math.Abs(truth-g.Ohms) < 3*g.Deviation {
				held++
			}
		}
	}
	t.Logf("%d groups, %d hold the truth within three deviations, %d told", groups, held, told)
	if uint64(groups) < seeds/10 || held < groups-1 || told != groups {
		t.Error("groups are missing or wrong")
	}
}
