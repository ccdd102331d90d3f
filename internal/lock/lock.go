// Package lock lets one program at a time have something, and tells the second
// who the first is.
//
// The lock is one of the system's on a file beside the thing (flock(2)): it is
// gone when its program is, however that ended. The file stays; it says who had
// the lock last.
package lock

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"time"
)

// Holder is who has a lock.
type Holder struct {
	Process int       `json:"process"`
	Run     string    `json:"run"`
	Address string    `json:"address"` // where it can be asked
	Since   time.Time `json:"since"`
}

func (h Holder) String() string {
	return fmt.Sprintf("process %d, which watches %q at %s since %s", h.Process, h.Run, h.Address, h.Since.Format(time.RFC3339))
}

// Held is the error of a lock that somebody else has.
type Held struct{ By Holder }

func (h Held) Error() string { return "it is in the hands of " + h.By.String() }

// Lock is a lock that is held.
type Lock struct{ file *os.File }

// Take takes the lock of a file, or gives Held. The file is made where it does not
// exist.
func Take(path string, h Holder) (*Lock, error) {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("lock: %w", err)
	}
	if err := take(file); err != nil {
		defer file.Close()
		if !errors.Is(err, errHeld) {
			return nil, fmt.Errorf("lock %s: %w", path, err)
		}
		var by Holder
		_ = json.NewDecoder(file).Decode(&by) // it may be about to write it
		return nil, Held{by}
	}
	l := &Lock{file}
	if err := l.Say(h); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return l, nil
}

// Say writes who holds the lock.
func (l *Lock) Say(h Holder) error {
	text, err := json.Marshal(h)
	if err != nil {
		return err
	}
	if err := l.file.Truncate(0); err != nil {
		return fmt.Errorf("lock: %w", err)
	}
	if _, err := l.file.WriteAt(append(text, '\n'), 0); err != nil {
		return fmt.Errorf("lock: %w", err)
	}
	return nil
}

// Read gives who holds a lock, or had it last; held tells which.
func Read(path string) (h Holder, held bool, err error) {
	file, err := os.OpenFile(path, os.O_RDONLY, 0)
	if err != nil {
		return Holder{}, false, fmt.Errorf("lock: %w", err)
	}
	defer file.Close()
	held = errors.Is(probe(file), errHeld)
	if err := json.NewDecoder(file).Decode(&h); err != nil {
		return Holder{}, held, fmt.Errorf("lock %s: %w", path, err)
	}
	return h, held, nil
}

// Release gives the lock away.
func (l *Lock) Release() error { return l.file.Close() }

var errHeld = errors.New("held by another program")
