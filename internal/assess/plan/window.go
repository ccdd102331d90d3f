package plan

import (
	"fmt"
	"math"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/run"
)

// The likelihood towards a limit is evaluated in a window about the element: a section of the run
// that extends windowReels reels beyond the element's own on either side. Readings further away inform
// about the element only through what all readings have in common. The covariance of the whole run
// contains that part, which does not change the curvature of the likelihood. A fit of the whole run for each element
// would take a time that grows with the fourth power of the length.
const windowReels = 3

// window is a section of a condition's run, with the outlook for readings there.
type window struct {
	reels   []bool
	whole   bool // the run itself
	outlook *nextreading.Outlook
	list    []nextreading.Candidate
	at      map[readingKey]int          // into list
	element map[run.Kind]map[string]int // of a loop, by kind and name
	ratios  map[string]float64          // stretches, by element and readings
}

// windowOf returns the window in which an element of a condition is evaluated.
func (s *planner) windowOf(v *condition, e *estimate.Element) (*window, error) {
	r := v.est.Model.Run
	needs := withNeighbours(r, reelsOf(r, e), windowReels)
	for _, w := range v.windows {
		if contains(w.reels, needs) {
			return w, nil
		}
	}
	reels := needs
	section := r
	for {
		section = r.Section(reels)
		if len(section.Unreached(run.Plus)) == 0 && len(section.Unreached(run.Minus)) == 0 {
			break
		}
		reels = withNeighbours(r, reels, 1) // all of the run is reached
	}
	w := &window{reels: reels, whole: len(section.Reels) == len(r.Reels), ratios: map[string]float64{}}
	v.windows = append(v.windows, w)
	est := v.est
	if w.whole {
		w.outlook, w.list = v.outlook, v.candidates
	} else {
		var err error
		if est, err = estimate.Make(section, nil); err != nil {
			return nil, err
		}
		if w.outlook, err = nextreading.NewOutlook(est, s.meters); err != nil {
			return nil, err
		}
		w.list = w.outlook.Candidates()
	}
	w.at = map[readingKey]int{}
	for i := range w.list {
		w.at[keyOf(w.outlook.Describe(&w.list[i]))] = i
	}
	w.element = map[run.Kind]map[string]int{run.KindJoint: {}, run.KindFeed: {}}
	for i := range est.Elements {
		x := &est.Elements[i]
		if x.Rail != run.Loop {
			continue
		}
		switch x.Kind {
		case run.KindJoint:
			w.element[x.Kind][section.Joints[x.Index].Name] = i
		case run.KindFeed:
			w.element[x.Kind][section.Feeds[x.Index].Name] = i
		}
	}
	return w, nil
}

// deviationRatio returns the ratio of the deviation of target k of a condition towards its limit to that of the
// covariance, once the chosen candidates are read; +Inf if they leave the element undetermined.
func (s *planner) deviationRatio(v *condition, k int, chosen []int) float64 {
	t := v.targets[k]
	e := &v.est.Elements[t.Element]
	w, err := s.windowOf(v, e)
	if err != nil {
		return math.Inf(1)
	}
	var few []nextreading.Candidate
	key := fmt.Sprint(e.Kind, " ", t.Name)
	for _, c := range chosen {
		if i, here := w.at[keyOf(s.readings[c])]; here {
			few = append(few, w.list[i])
			key += fmt.Sprint(" ", i)
		}
	}
	if known, seen := w.ratios[key]; seen {
		return known
	}
	t.Element = w.element[e.Kind][t.Name]
	by := w.outlook.DeviationsTowardsLimits(few, []nextreading.Target{t})[0]
	by /= math.Sqrt(w.outlook.VariancesAfter(few, []int{t.Element})[0])
	w.ratios[key] = by
	return by
}

// reelsOf marks the reels that an element is part of or leads to.
func reelsOf(r *run.Run, e *estimate.Element) []bool {
	reels := make([]bool, len(r.Reels))
	if e.Kind == run.KindJoint {
		reels[r.Joints[e.Index].From], reels[r.Joints[e.Index].To] = true, true
		return reels
	}
	ends := map[run.Place]bool{r.Feeds[e.Index].To: true}
	for range r.Feeds { // each round reaches one junction further
		for _, f := range r.Feeds {
			if ends[f.From] {
				ends[f.To] = true
			}
		}
	}
	for at := range ends {
		if at.Kind == run.AtReel {
			reels[at.Index] = true
		}
	}
	return reels
}

// withNeighbours marks some reels and those that so many joints lead to from them.
func withNeighbours(r *run.Run, reels []bool, joints int) []bool {
	for range joints {
		wider := append([]bool(nil), reels...)
		for _, j := range r.Joints {
			if reels[j.From] || reels[j.To] {
				wider[j.From], wider[j.To] = true, true
			}
		}
		reels = wider
	}
	return reels
}

func contains(all, some []bool) bool {
	for i := range some {
		if some[i] && !all[i] {
			return false
		}
	}
	return true
}
