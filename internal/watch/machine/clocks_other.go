//go:build !linux

package machine

import "time"

// System returns the clocks of the machine that the program runs on. On systems other than
// Linux, SinceBoot is the time since the program's start.
func System() Clocks { return system{boot: started.UTC().Format("20060102T150405.000000000")} }

type system struct{ boot string }

var started = time.Now()

func (system) Wall() time.Time          { return time.Now().Round(0) }
func (system) SinceBoot() time.Duration { return time.Since(started) }
func (s system) Boot() string           { return s.boot }
func (system) Synchronised() bool       { return false }
func (system) Battery() bool            { return true }
