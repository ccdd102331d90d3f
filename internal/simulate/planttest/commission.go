// Package planttest draws cases for tests: runs of a dozen kinds with disturbances, a fault and a
// mistake in writing down, read by a person. It uses package plant and shares nothing with the fit.
package planttest

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/simulate/plant"
)

// Case is one evening with a run: its file, its true state, and what a person wrote
// down.
type Case struct {
	*plant.Record
	File             string // the run file's text
	Run              *run.Run
	Wrong            []int // into Readings: those that a slip of the hand made wrong by more than any meter's error
	WrongWithinError []int // into Readings: those that a slip made wrong by less
	// SlipNames names what a slip of several readings concerns: the two feeds, the step with reversed
	// leads, the step and the one whose load it was read in.
	SlipNames []string

	rng *rand.Rand // of what differs from one reading to the next
}

// Commission draws a case, or returns nil where the run that the seed draws has no
// place for the fault or no reading for the slip.
func Commission(kind Kind, by plant.Disturbance, fault Fault, slip Slip, seed uint64) (*Case, error) {
	rng := rand.New(rand.NewPCG(seed, 20261130))
	file, err := kind.steps(kind.draft(rng), rng)
	if err != nil {
		return nil, err
	}
	r, err := runfile.Parse(kind.Name, []byte(file))
	if err != nil {
		return nil, err
	}
	p := plant.New(r, by, rng)
	if !breakIt(p, fault, rng) {
		return nil, nil
	}
	c := &Case{Record: plant.NewRecord(p, plant.NewMeter(r.Meters[0], by, rng), rng), File: file, Run: r, rng: rng}
	steps := []int{0, 1, 2, 3}
	if by.TwoSteps {
		steps = [][]int{{0, 3}, {1, 3}, {2, 3}}[rng.IntN(3)]
	}
	thermometer := rng.IntN(3) // none, at the beginning, in each step
	for n, step := range steps {
		if err := c.Plant.Set(step); err != nil {
			return nil, fmt.Errorf("%s: %w", kind.Name, err)
		}
		c.ReadStep(step, !by.NoThermometer && (thermometer == 2 || thermometer == 1 && n == 0))
	}
	if !c.slip(slip, rng) {
		return nil, nil
	}
	return c, nil
}

// TrueOhms returns the true resistance at 20 °C of both conductors of an element in Ω, of
// a reel in Ω/m; of a joint whose plus is cut, that of its minus.
func (c *Case) TrueOhms(kind, name string) float64 {
	switch kind {
	case "joint":
		for i, j := range c.Run.Joints {
			if j.Name == name && j.PlusCut {
				return c.Plant.Joints[i].Minus
			} else if j.Name == name {
				return c.Plant.Joints[i].Loop()
			}
		}
	case "feed":
		return c.Plant.Feeds[c.Run.FeedIndex(name)].Loop()
	case "reel":
		return c.Plant.Reels[c.Run.ReelIndex(name)].Loop()
	}
	return math.NaN()
}

// Read takes one more reading in a step, with the same meter. The names must be those of the run.
func (c *Case) Read(step int, q run.Quantity, from, to string) error {
	if err := c.Plant.Set(step); err != nil {
		return err
	}
	c.Add(step, q, from, to, c.Plant.True(q, from, to))
	return nil
}
