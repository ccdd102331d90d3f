// Package parallel spreads independent computations over the processors. Their results do not depend
// on how many there are.
package parallel

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// For calls compute for 0 to n − 1, several at a time, and returns when all calls have. The calls must
// not write what another one reads or writes.
func For(n int, compute func(i int)) {
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		workers.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				compute(i)
			}
		})
	}
	workers.Wait()
}
