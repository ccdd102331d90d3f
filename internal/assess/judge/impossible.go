package judge

import (
	"fmt"
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// withdrawBesideImpossible withdraws the failures that depend on the pair voltages of a reel with
// less copper than any strip has, and open conductors. Its ends were read at one place, or a wire that
// is not in the run file joins them: either makes feeds and joints look bad or open.
func (j *judgement) withdrawBesideImpossible() {
	for k := range j.est.Elements {
		e := &j.est.Elements[k]
		if !j.impossibleReel(e) {
			continue
		}
		var along []int
		for n, r := range j.out.Readings {
			if r.Used && j.pairVoltageAt(r, e.Index) {
				along = append(along, n)
			}
		}
		if len(along) == 0 {
			continue
		}
		again := j.endsOf(along)
		for i := range j.est.Elements {
			x := j.assessed(i)
			if x == nil || x.Rail != run.Loop || x.Verdict != assessment.Fail || i == k {
				continue
			}
			if x.Open() {
				j.withdraw(i, fmt.Sprintf("An open conductor explains the readings best, but then reel %s would have less copper than any strip has.", j.name(e)))
				continue
			}
			if j.partOf(i, "", "", along).Verdict != assessment.Fail {
				j.withdraw(i, fmt.Sprintf("It would fail by the voltages along reel %s alone, which cannot be right. Read both ends of that reel again.", j.name(e)))
				for n := range again {
					again[n].Settles = append(again[n].Settles, j.name(&j.est.Elements[i]))
				}
			}
		}
		j.again = append(j.again, again...)
	}
}

// endsOf returns those of some pair voltages of a reel that are to be taken again: at its ends, in the
// step in which they are least.
func (j *judgement) endsOf(along []int) (list []assessment.Next) {
	least := along[0]
	for _, n := range along {
		if math.Abs(j.out.Readings[n].Value) < math.Abs(j.out.Readings[least].Value) {
			least = n
		}
	}
	for _, n := range along {
		r := j.out.Readings[n]
		from, err := j.run.Point(r.From)
		if err != nil || r.Step != j.out.Readings[least].Step {
			continue
		}
		if pixel := from.Place.Pixel; pixel == 1 || pixel == j.run.Reels[from.Place.Index].Pixels {
			list = append(list, nextOf(r))
		}
	}
	return list
}

// impossibleReel reports whether an element is a reel with less copper than any strip has, for
// certain.
func (j *judgement) impossibleReel(e *estimate.Element) bool {
	return e.Kind == run.KindReel && e.Rail == run.Loop && e.Known && mostOfStated(e, j.run.Reels[e.Index].Strip.LoopOhms) < minReelPart
}

// pairVoltageAt reports whether a reading is a pair voltage of a reel.
func (j *judgement) pairVoltageAt(r assessment.Reading, reel int) bool {
	if r.Quantity != run.Voltage {
		return false
	}
	from, errFrom := j.run.Point(r.From)
	to, errTo := j.run.Point(r.To)
	return errFrom == nil && errTo == nil && from.Place == to.Place && from.Kind == run.AtReel && from.Index == reel
}

// withdraw makes a failing loop and its conductors unproven, for a reason in words.
func (j *judgement) withdraw(i int, reason string) {
	loop := j.assessed(i)
	for k := range j.out.Elements {
		if x := &j.out.Elements[k]; x.Kind == loop.Kind && x.Name == loop.Name && x.Verdict == assessment.Fail {
			x.Verdict, x.BehavesLike = assessment.Unproven, ""
		}
	}
	if j.withheld == nil {
		j.withheld = map[int]string{}
	}
	j.withheld[i] = reason
}
