package service

import (
	"os"
	"runtime"
	"runtime/debug"
)

// tuneRuntime sets Go's runtime for a watch on a small board: little memory and one
// processor. restore undoes it.
//
// A heap of a few megabytes is collected a little more often. One processor is enough,
// and no second one has to be woken: where a port is waited for in a system call
// (elsewhere than on Linux, see package port), Go's monitor would look for 10 ms after
// every line whether the processor that was left there has work to do, which costs twice
// as much as reading the line.
func tuneRuntime() (restore func()) {
	percent := debug.SetGCPercent(50)
	processors := runtime.GOMAXPROCS(0)
	if os.Getenv("GOMAXPROCS") == "" {
		runtime.GOMAXPROCS(1)
	}
	return func() {
		debug.SetGCPercent(percent)
		runtime.GOMAXPROCS(processors)
	}
}
