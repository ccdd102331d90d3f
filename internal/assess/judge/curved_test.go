package judge

import (
	"encoding/hex"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// commissioning draws one run, every second one with a bad joint, and its readings.
func commissioning(t *testing.T, i int, rng *rand.Rand) (*calibrationtest.Plant, []survey.Visit) {
	return commissioningOf(t, i, rng, calibrationtest.UsualSpread, func(*run.Run) {})
}

// commissioningOf is the same for any spread and for a run that is changed before the plant is drawn.
func commissioningOf(t *testing.T, i int, rng *rand.Rand, by calibrationtest.Spread, change func(*run.Run)) (*calibrationtest.Plant, []survey.Visit) {
	t.Helper()
	r := draw(rng)
	change(r)
	p := calibrationtest.New(r, by, rng)
	if j := rng.IntN(len(r.Joints)); i%2 == 0 && !r.Joints[j].PlusCut {
		whole, part := 0.025+0.125*rng.Float64(), rng.Float64()
		p.Joints[j] = ladder.Rails{Plus: whole * part, Minus: whole * (1 - part)}
	}
	return p, minusOnly(survey.Thorough(r))
}

// minusOnly leaves out the plus over each joint.
func minusOnly(visits []survey.Visit) []survey.Visit {
	return slices.DeleteFunc(visits, func(v survey.Visit) bool {
		return v.Quantity == run.Voltage && strings.HasSuffix(v.From, "+") && strings.HasSuffix(v.To, "+")
	})
}

// Twelve of 20,000 simulated commissionings in which the covariance at the best fit
// passed a bad joint or failed a sound one by many deviations: little current crosses
// the joint, or what is known of the rails' sharing holds them together only while both
// are small. The states are those of the generator before each run was drawn.
func TestLittleCurrentThroughAJoint(t *testing.T) {
	for i, state := range map[int]string{
		// bad ones that passed
		4220:  "7063673a9a393c8f517e6791b3c0ac7951600814",
		7174:  "7063673a6ed14a058acb5739c28b32007a22c970",
		18518: "7063673a08940de3725b86f4be064a7239485227",
		// sound ones that failed
		4352:  "7063673aa68195351f8313dae72ad4e92cf5ce6b",
		6735:  "7063673ab2586ad257dc5d7303de3970f0cad900",
		8437:  "7063673a7a080b7860f08a2a5d77fb14c4650de6",
		12259: "7063673a2d977e7f74de1ed9083d58c066d2add7",
		13783: "7063673a66d808830f83449ddf0cb17bec6ce7ac",
		13897: "7063673aa7201c5bc360426485ac9621f357e183",
		15792: "7063673a6fae81563752d96c3481d881563a4348",
		16051: "7063673a191330a5b691e3ab2b3ae19c32ff4c05",
		19951: "7063673afbd1872e3a40a89230a3ce990b1c83ff",
	} {
		if i%4 > 0 && !everyCase() {
			continue
		}
		bytes, err := hex.DecodeString(state)
		if err != nil {
			t.Fatal(err)
		}
		source := &rand.PCG{}
		if err := source.UnmarshalBinary(bytes); err != nil {
			t.Fatal(err)
		}
		rng := rand.New(source)
		p, visits := commissioning(t, i, rng)
		list, err := p.Walk(visits, rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		a := assess(t, p.Run, list)
		for _, e := range a.Elements {
			if e.Kind != run.KindJoint || e.Rail != run.Loop {
				continue
			}
			truth := trueLoop(p.Run, p, e)
			if e.Verdict == assessment.Pass && truth > e.Limit || e.Verdict == assessment.Fail && truth < e.Limit {
				t.Errorf("run %d: %s %s at %.1f mΩ", i, e.Name, e.Verdict, 1e3*truth)
			}
		}
	}
}
