package service

import (
	"os"
	"runtime"
	"runtime/debug"
)

// tuneRuntime sets Go's runtime for a watch on a small board: little memory and one
// processor. restore undoes it.
//
// The garbage collector runs a little more often, on a heap of a few megabytes. One processor
// is enough, and saves time: on systems other than Linux a port is read in a blocking system
// call (see package port), and with two processors Go's runtime would check for 10 ms after
// every line whether the processor of that call has work, which costs twice as much as reading
// the line.
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
