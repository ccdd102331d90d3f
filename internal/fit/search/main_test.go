package search

import (
	"os"
	"testing"

	"ohmkeep/internal/numeric/heaptest"
)

func TestMain(m *testing.M) { os.Exit(heaptest.Run(m)) }
