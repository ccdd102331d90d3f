package file

import (
	"errors"
	"io/fs"
	"os"
	"sync"
	"syscall"
	"time"
)

// Reloaded is a value that is read from files, and read again after one of them has changed. If
// that fails, the old value stays in force. It may be used by several goroutines.
type Reloaded[T any] struct {
	paths  []string
	read   func() (T, error)
	reread func(error)

	mu     sync.Mutex
	stamps []stamp // of the files when they were last read
	value  T
	err    error // of the newest attempt to read
}

// stamp is what shows that a file has changed.
type stamp struct {
	there    bool
	size     int64
	modified time.Time
	info     fs.FileInfo
}

// NewReloaded reads a value for the first time, and returns the error of that. reread is called
// after each further attempt, with its error; it may be nil.
func NewReloaded[T any](read func() (T, error), reread func(error), paths ...string) (*Reloaded[T], error) {
	r := &Reloaded[T]{paths: paths, read: read, reread: reread, stamps: stampsOf(paths)}
	r.value, r.err = read()
	if r.err != nil {
		return nil, r.err
	}
	return r, nil
}

// Value returns the value in force, and why a newer one is not; nil = there is none.
func (r *Reloaded[T]) Value() (T, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	stamps := stampsOf(r.paths)
	for i := range stamps {
		if !stamps[i].same(r.stamps[i]) {
			r.again(stamps)
			break
		}
	}
	return r.value, r.err
}

// again reads the files; r.mu is held. What cannot be read now, such as a file that another program has
// opened, is read again the next time; what it holds is not.
func (r *Reloaded[T]) again(stamps []stamp) {
	r.stamps = stamps // taken before reading: a later change is seen the next time
	value, err := r.read()
	before := r.err
	if r.err = err; err == nil {
		r.value = value
	} else if _, ofSystem := errors.AsType[syscall.Errno](err); ofSystem && !errors.Is(err, fs.ErrNotExist) {
		r.stamps = make([]stamp, len(stamps))
		if before != nil && before.Error() == err.Error() {
			return // it was said
		}
	}
	if r.reread != nil {
		r.reread(err)
	}
}

func stampsOf(paths []string) []stamp {
	stamps := make([]stamp, len(paths))
	for i, path := range paths {
		info, err := os.Stat(path)
		if err != nil {
			stamps[i].there = !errors.Is(err, fs.ErrNotExist)
			continue
		}
		stamps[i] = stamp{true, info.Size(), info.ModTime(), info}
	}
	return stamps
}

func (s stamp) same(other stamp) bool {
	if s.info == nil || other.info == nil {
		return s.info == nil && other.info == nil && s.there == other.there
	}
	return s.size == other.size && s.modified.Equal(other.modified) && os.SameFile(s.info, other.info)
}
