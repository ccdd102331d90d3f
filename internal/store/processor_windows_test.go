package store

import (
	"testing"
	"time"
)

var began = time.Now()

// processorTime returns the time that has passed, which stands for processor time on this system.
func processorTime(testing.TB) time.Duration { return time.Since(began) }
