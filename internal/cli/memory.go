package cli

import (
	"os"
	"runtime/debug"
)

// smallHeap is the heap, in bytes, that a command which reads a store should not exceed.
const smallHeap = 19 << 20

// limitHeap makes the garbage collector run more often while a command reads a store, because the
// watch runs beside it on a small board. It costs a fifth of the time, and a third
// where a million readings are assessed. GOGC overrides it.
func limitHeap() {
	if os.Getenv("GOGC") != "" {
		return
	}
	debug.SetGCPercent(15)
	if debug.SetMemoryLimit(-1) > smallHeap {
		debug.SetMemoryLimit(smallHeap)
	}
}
