// Package pool keeps connections to a firm's central database for a server, whose requests use them
// at the same time.
//
// The connections only read: the database refuses what would change it. A connection that has
// failed is closed, and the next use makes another, so that a server that is started again is found.
package pool

import (
	"context"
	"sync"

	"ohmkeep/internal/central/postgres"
)

// Pool is a number of connections. Its methods may be called from any goroutine.
type Pool struct {
	connect func(context.Context) (*postgres.DB, error)
	places  chan struct{} // one value for each connection that is in use

	mu     sync.Mutex
	idle   []*postgres.DB
	closed bool
}

// New returns a pool of at most so many connections that connect makes.
func New(connect func(context.Context) (*postgres.DB, error), most int) *Pool {
	return &Pool{connect: connect, places: make(chan struct{}, most)}
}

// Use calls do with a connection, and waits while all are in use. The error is that of do, of
// connecting, or of a context that ends.
func (p *Pool) Use(ctx context.Context, do func(*postgres.DB) error) error {
	select {
	case p.places <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-p.places }()
	db, err := p.take(ctx)
	if err != nil {
		return err
	}
	if err := do(db); err != nil {
		_ = db.Close() // it may be in the middle of an answer
		return err
	}
	p.giveBack(db)
	return nil
}

// take returns an idle connection that still answers, or a new one.
func (p *Pool) take(ctx context.Context) (*postgres.DB, error) {
	for {
		p.mu.Lock()
		n := len(p.idle)
		if n == 0 {
			p.mu.Unlock()
			return p.open(ctx)
		}
		db := p.idle[n-1]
		p.idle = p.idle[:n-1]
		p.mu.Unlock()
		if _, _, err := db.One(ctx, "SELECT 1"); err == nil {
			return db, nil
		}
		_ = db.Close() // the server was started again meanwhile
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
}

// open makes a connection, whose database has this program's schema.
func (p *Pool) open(ctx context.Context) (*postgres.DB, error) {
	db, err := p.connect(ctx)
	if err != nil {
		return nil, err
	}
	if err = db.Migrate(ctx); err == nil {
		err = db.Script(ctx, "SET default_transaction_read_only = on")
	}
	if err != nil {
		_ = db.Close() // it is of no use
		return nil, err
	}
	return db, nil
}

// giveBack keeps a connection for the next use.
func (p *Pool) giveBack(db *postgres.DB) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		_ = db.Close() // the pool has ended
		return
	}
	p.idle = append(p.idle, db)
}

// Close closes the connections that are idle, and each other one when it is no longer used.
func (p *Pool) Close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	for _, db := range p.idle {
		_ = db.Close() // nothing was written
	}
	p.idle = nil
}
