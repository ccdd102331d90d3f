package judge

import (
	"fmt"
	"math"

	"ohmkeep/internal/run"
)

const (
	// sameLoad is how far, as the standard deviation of a logarithm, steps lie apart in what
	// their pixels draw beside what is stated (common practice, no source).
	sameLoad = 0.15
	// otherLoad is by how many squares another load must explain what the pixels draw
	// better than the stated one for it to be named.
	otherLoad = 9.0
)

// otherLoads names steps that were read in the load of another step, "" where none seems so: two
// that were exchanged, or one that was not set. All steps should draw the same multiple of
// what is stated.
func (j *judged) otherLoads() string {
	var steps []int
	var drawn, stated, weight []float64 // logarithms, and 1/variance
	for k, step := range j.run.Steps {
		read := false
		for _, x := range j.out.Readings {
			read = read || x.Used && x.Step == step.Name
		}
		nominal := nominalLoad(j.run, step)
		if !read || nominal == 0 {
			continue
		}
		factor, deviation := j.est.Load(k)
		steps = append(steps, k)
		drawn = append(drawn, math.Log(factor*nominal))
		stated = append(stated, math.Log(nominal))
		weight = append(weight, 1/(sameLoad*sameLoad+deviation*deviation/(factor*factor)))
	}
	// squares is how far the steps lie apart where step i has the load of a, and step k that of b.
	squares := func(i, a, k, b int) float64 {
		sum, mean := 0.0, 0.0
		for n := range steps {
			of := stated[n]
			if n == i {
				of = stated[a]
			} else if n == k {
				of = stated[b]
			}
			sum += weight[n]
			mean += weight[n] * (drawn[n] - of)
		}
		mean /= sum
		squares := 0.0
		for n := range steps {
			of := stated[n]
			if n == i {
				of = stated[a]
			} else if n == k {
				of = stated[b]
			}
			squares += weight[n] * (drawn[n] - of - mean) * (drawn[n] - of - mean)
		}
		return squares
	}
	best, text := squares(-1, 0, -1, 0)-otherLoad, ""
	for i := range steps {
		for k := range steps {
			one, other := j.run.Steps[steps[i]].Name, j.run.Steps[steps[k]].Name
			if i < k {
				if now := squares(i, k, k, i); now < best {
					best, text = now, fmt.Sprintf("Steps %q and %q seem to have been exchanged", one, other)
				}
			}
			if now := squares(i, k, -1, 0); i != k && now < best {
				best, text = now, fmt.Sprintf("Step %q seems to have been read in the load of step %q", one, other)
			}
		}
	}
	return text
}

// nominalLoad is what a step's channels draw as stated, A of one pixel of each reel.
func nominalLoad(r *run.Run, step run.Step) (amps float64) {
	for _, reel := range r.Reels {
		for _, c := range reel.Strip.Channels {
			amps += step.Levels[c.Name] * c.Amps
		}
	}
	return amps
}
