// Package prediction computes what a run shows in one of its steps if everything is as the run file
// states: potentials along the reels, currents and drops of the feeds, and values beyond a rating.
// It uses no readings.
package prediction

import "ohmkeep/internal/run"

// Prediction is one step of one run. Values are SI, resistances at 20 °C.
type Prediction struct {
	Run      *run.Run
	Step     string
	Supplies []Supply
	Feeds    []Feed
	Joints   []Joint
	Reels    []Reel
	Warnings []string
}

// Supply is what a supply delivers, at its terminals.
type Supply struct {
	Name        string
	Volts, Amps float64
}

// Feed is what a feed carries towards the strip.
type Feed struct {
	Name             string
	Amps, Drop, Ohms float64 // Drop is of both conductors together; Ohms is the loop
}

// Joint is what a joint carries, the larger of its rails.
type Joint struct {
	Name             string
	Amps, Drop, Ohms float64
}

// Reel is the potentials along one reel against the first supply's minus terminal.
type Reel struct {
	Name   string
	Pixels []Pixel // the first is pixel number 1
}

// Pixel is the state of one pixel.
type Pixel struct {
	Volts, Plus, Minus, Amps float64
}
