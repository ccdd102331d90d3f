package modbus

import (
	"fmt"
	"io"
	"path/filepath"
	"sync"

	"ohmkeep/internal/instrument/profile"
)

// Buses are the opened lines of a program, so that the probes of several slaves share one. The zero
// value is ready to use, from any goroutine.
type Buses struct {
	mu   sync.Mutex
	open map[string]*sharedBus // by path
}

// sharedBus is a bus and how many slaves use it.
type sharedBus struct {
	*Bus
	settings profile.Port
	users    int
}

// Join returns the bus at a path, which it opens if no other slave uses it. leave has to be called in the
// end; the last one closes the line.
func (s *Buses) Join(path string, settings profile.Port, open func() (io.ReadWriteCloser, error)) (b *Bus, leave func(), err error) {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real // by-id and by-path name the same line
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	shared := s.open[path]
	if shared != nil {
		select {
		case <-shared.ended: // it was unplugged; its other users leave it
			shared = nil
		default:
		}
	}
	switch {
	case shared == nil:
		conn, err := open()
		if err != nil {
			return nil, nil, err
		}
		shared = &sharedBus{Bus: NewBus(conn, settings.Baud), settings: settings}
		if s.open == nil {
			s.open = map[string]*sharedBus{}
		}
		s.open[path] = shared
	case !sameLine(shared.settings, settings):
		return nil, nil, fmt.Errorf("port %s: another probe uses it at %s, this one needs %s", path, line(shared.settings), line(settings))
	}
	shared.users++
	var once sync.Once
	return shared.Bus, func() { once.Do(func() { s.leave(path, shared) }) }, nil
}

// leave closes a bus that has no users left.
func (s *Buses) leave(path string, shared *sharedBus) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if shared.users--; shared.users > 0 {
		return
	}
	shared.Close()
	if s.open[path] == shared {
		delete(s.open, path)
	}
}

// sameLine reports whether two slaves send alike.
func sameLine(a, b profile.Port) bool { return line(a) == line(b) }

// line writes how a line is used, such as "9600 baud 8N2".
func line(p profile.Port) string {
	return fmt.Sprintf("%d baud %d%c%d", p.Baud, p.DataBits, "NOEMS"[p.Parity], p.StopBits)
}
