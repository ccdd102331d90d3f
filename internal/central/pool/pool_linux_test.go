package pool

import (
	"context"
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/postgres"
)

// The connections of a pool are few, are used again, only read, and are made again after the server
// was killed.
func TestPool(t *testing.T) {
	server := centraltest.Start(t)
	address := server.Database("ohmkeep")
	var made atomic.Int64
	p := New(func(ctx context.Context) (*postgres.DB, error) {
		made.Add(1)
		return postgres.Connect(ctx, address, postgres.Options{})
	}, 2)
	defer p.Close()
	count := func(db *postgres.DB) error {
		row, _, err := db.One(t.Context(), "SELECT count(*) FROM ohmkeep.site")
		if err == nil && row.Int(0) != 0 {
			t.Errorf("%d sites", row.Int(0))
		}
		return err
	}
	var users sync.WaitGroup
	var now, most atomic.Int64
	for range 20 {
		users.Go(func() {
			if err := p.Use(t.Context(), func(db *postgres.DB) error {
				n := now.Add(1)
				defer now.Add(-1)
				for before := most.Load(); n > before && !most.CompareAndSwap(before, n); before = most.Load() {
				}
				return count(db)
			}); err != nil {
				t.Error(err)
			}
		})
	}
	users.Wait()
	if made.Load() > 2 || most.Load() > 2 {
		t.Errorf("%d connections were made, %d used at once", made.Load(), most.Load())
	}
	err := p.Use(t.Context(), func(db *postgres.DB) error {
		_, err := db.Exec(t.Context(), "INSERT INTO ohmkeep.site (name) VALUES ('x')")
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "read-only") {
		t.Errorf("a connection that writes: %v", err)
	}
	if err := p.Use(t.Context(), count); err != nil { // the one that failed was closed
		t.Error(err)
	}
	server.Kill()
	if err := p.Use(t.Context(), count); err == nil {
		t.Error("a server that is killed answers")
	}
	server.Launch()
	if err := p.Use(t.Context(), count); err != nil {
		t.Errorf("after the server was started again: %v", err)
	}
	ended, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	err = p.Use(t.Context(), func(*postgres.DB) error {
		return p.Use(t.Context(), func(*postgres.DB) error { return p.Use(ended, count) })
	})
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("while all connections are in use: %v", err)
	}
}
