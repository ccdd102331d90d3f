package cli

import (
	"os"
	"runtime/debug"
)

// smallHeap is the heap, in bytes, below which a command that reads a store stays where it
// can.
const smallHeap = 22 << 20

// limitHeap has unused memory collected more often while a command reads a store: on a
// small board the watch runs beside it. It costs a fifth of the time. GOGC overrides it.
func limitHeap() {
	if os.Getenv("GOGC") != "" {
		return
	}
	debug.SetGCPercent(15)
	if debug.SetMemoryLimit(-1) > smallHeap {
		debug.SetMemoryLimit(smallHeap)
	}
}
