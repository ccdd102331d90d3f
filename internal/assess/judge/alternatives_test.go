package judge

import (
	"strings"
	"testing"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/result/assessment"
)

// An exchange of currents that another explanation supposes may have happened. Of one that the best
// explanation supposes it is said that it is not certain: that it seems so is said elsewhere.
func TestExchangeThatIsNotCertain(t *testing.T) {
	for _, c := range []struct {
		mistakes []model.Mistake
		says     string
	}{
		{nil, "The currents of feeds far and near may have been written down for each other: "},
		{[]model.Mistake{{Kind: model.FeedsSwapped, A: 1}}, "It is not certain that the currents of feeds far and near were written down for each other: "},
	} {
		j := &judgement{est: &estimate.Estimate{Mistakes: c.mistakes}, out: &assessment.Assessment{}}
		j.alternatives[swappedFeeds] = alternative{what: []string{"far and near"}, undecided: []string{"reel west"}}
		j.reportAlternatives()
		if f := j.out.Findings; len(f) != 1 || !strings.HasPrefix(f[0].Text, c.says) || !strings.HasSuffix(f[0].Text, "Undecided until then: reel west.") {
			t.Errorf("%v: %v", c.mistakes, f)
		}
	}
}
