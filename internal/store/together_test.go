package store

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
)

// Several programs open a store that does not exist yet: none is refused.
func TestOpenTogether(t *testing.T) {
	rounds := 5
	if *thorough {
		rounds = 15
	}
	for round := range rounds {
		path := filepath.Join(t.TempDir(), "new.store")
		var openers sync.WaitGroup
		gate := make(chan struct{})
		for i := range 6 {
			openers.Go(func() {
				<-gate
				s, err := Open(path)
				if err != nil {
					t.Errorf("round %d: %v", round, err)
					return
				}
				defer s.Close()
				if _, _, err := s.Append(context.Background(), cornice.Name, fmt.Sprint(i), scans(i, 16)); err != nil {
					t.Errorf("round %d: %v", round, err)
				}
			})
		}
		close(gate)
		openers.Wait()
	}
}
