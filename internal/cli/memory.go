package cli

import (
	"os"
	"runtime/debug"
)

// frugalHeap is the heap, in bytes, below which a command that reads a store stays where it
// can.
const frugalHeap = 22 << 20

// spareMemory has unused memory collected more often while a command reads a store: on a
// small board the watch runs beside it. It costs a fifth of the time. GOGC overrides it.
func spareMemory() {
	if os.Getenv("GOGC") != "" {
		return
	}
	debug.SetGCPercent(15)
	if debug.SetMemoryLimit(-1) > frugalHeap {
		debug.SetMemoryLimit(frugalHeap)
	}
}
