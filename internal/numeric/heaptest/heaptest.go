// Package heaptest runs the tests of packages that compute much.
package heaptest

import (
	"flag"
	"runtime/debug"
	"testing"
)

// percent is how much the heap may grow, in percent of what it holds, before garbage is collected.
const percent = 400

// Run runs the tests of a package with a heap that may grow, because collecting garbage at the usual 100 %
// takes up to a quarter of their processor time. Benchmarks measure with the usual heap. It returns the exit status.
func Run(m *testing.M) int {
	flag.Parse()
	if flag.Lookup("test.bench").Value.String() == "" {
		debug.SetGCPercent(percent)
	}
	return m.Run()
}
