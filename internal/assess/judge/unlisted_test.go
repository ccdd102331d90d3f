package judge

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// A run has one more feed than its file. The reel that it feeds is named, perhaps beside a neighbour,
// the fit with it is good, every interval holds the truth, and nothing passes. Without that feed nothing
// is named.
func TestUnlistedFeedIsNamed(t *testing.T) {
	r := ring()
	with := *r
	with.Feeds = append(slices.Clone(r.Feeds), r.Feeds[0])
	extra := &with.Feeds[len(with.Feeds)-1]
	extra.Name, extra.To = "unknown", run.Place{Kind: run.AtReel, Index: 2, Pixel: 20}
	for _, built := range []*run.Run{r, &with} {
		rng := rand.New(rand.NewPCG(3, 12))
		p := calibrationtest.New(built, calibrationtest.UsualSpread, rng)
		list, err := p.Walk(survey.Thorough(r), rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		a := assess(t, r, list)
		text, passed := findings(a), 0
		_, named, _ := strings.Cut(text, "Something that is not in the run file seems to feed reel ")
		named, _, _ = strings.Cut(named, ": about ")
		if named := strings.Contains(named, "r2"); named != (built == &with) || a.Doubtful != named || a.Fit.PValue < 0.05 {
			t.Errorf("%d feeds: %+v\n%s", len(built.Feeds), a.Fit, text)
		}
		for _, e := range a.Elements {
			if e.Rail != run.Loop || e.Kind == run.KindSupply {
				continue
			}
			truth := trueLoop(r, p, e)
			if truth < e.Low || truth > e.High {
				t.Errorf("%d feeds: %s %s has %.4f Ω, not %.4f to %.4f", len(built.Feeds), e.Kind, e.Name, truth, e.Low, e.High)
			}
			if e.Verdict == assessment.Pass {
				passed++
			}
		}
		if passes := passed > 3; passes != (built == r) || !passes && passed > 0 {
			t.Errorf("%d feeds: %d pass", len(built.Feeds), passed)
		}
	}
}
