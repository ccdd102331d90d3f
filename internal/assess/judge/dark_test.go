package judge

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/calibrationtest"
)

// A middle reel fed from both ends stays dark. The readings agree with a lit one and a third less
// current in every pixel, and then the current of its joints is not known: a bad joint does not
// pass, and the finding asks to look at the reel.
func TestDarkReelBetweenTwoFeeds(t *testing.T) {
	r := runtest.Parse(t, runtest.Strip("Invented landing")+runtest.Reels(8.0/3, "west", "middle", "east")+
		runtest.Feed("west.start", "16 AWG")+runtest.FeedFrom("far", "A", "east.end", 2.5, "16 AWG")+
		runtest.White("dark", 0)+runtest.White("white 4 %", 0.04)+runtest.White("white 8 %", 0.08)+
		runtest.Meter("hand", runtest.Range("voltage", 6, 0.001, 0.5, 3), runtest.Range("current", 20, 0.01, 2, 5))+`[limits]
joint_milliohms = 15
`)
	passed, asked := 0, 0
	for seed := range uint64(4) {
		rng := rand.New(rand.NewPCG(seed, 240))
		p := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
		p.Unlit = []bool{false, true, false}
		p.Joints[1].Plus = 0.026
		list, err := p.Walk(survey.Thorough(r), rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		a := assess(t, r, list)
		for _, e := range a.Elements {
			if e.Kind == run.KindJoint && e.Name == "middle-east" && e.Rail == run.Loop && e.Verdict == assessment.Pass {
				passed++
				t.Logf("seed %d: %.1f mΩ (%.1f to %.1f) passes\n%s", seed, 1e3*e.Ohms, 1e3*e.Low, 1e3*e.High, findings(a))
			}
		}
		if strings.Contains(findings(a), "as they would if reel middle stayed dark") {
			asked++
		}
	}
	if passed > 0 || asked == 0 {
		t.Errorf("the bad joint passed %d times; %d of 4 runs asked to look at the reel", passed, asked)
	}
}
