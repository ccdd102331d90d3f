package parallel

import (
	"runtime"
	"testing"
)

// Each number is computed once.
func TestFor(t *testing.T) {
	for _, n := range []int{0, 1, 2, 100} {
		calls := make([]int, n)
		For(n, func(i int) { calls[i]++ })
		for i, c := range calls {
			if c != 1 {
				t.Errorf("of %d: %d was computed %d times", n, i, c)
			}
		}
	}
}

// With two processors two calls run at once: each waits for the other here.
func TestForRunsConcurrently(t *testing.T) {
	was := runtime.GOMAXPROCS(2)
	defer runtime.GOMAXPROCS(was)
	met := make(chan bool)
	For(2, func(i int) {
		if i == 0 {
			met <- true
		} else {
			<-met
		}
	})
}
