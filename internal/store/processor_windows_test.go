package store

import (
	"testing"
	"time"
)

var began = time.Now()

// processorTime gives the time that has passed; on this system it stands for that
// of the processor.
func processorTime(testing.TB) time.Duration { return time.Since(began) }
