// Package watchtest holds what the tests of several packages of the daemon share.
package watchtest

import (
	"bytes"
	"sync"
)

// Log is a buffer that several goroutines may write to.
type Log struct {
	mu   sync.Mutex
	text bytes.Buffer
}

// Write appends to the log. It implements io.Writer.
func (l *Log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

// String returns all that was written.
func (l *Log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}
