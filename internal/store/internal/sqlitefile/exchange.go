package sqlitefile

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"ohmkeep/internal/fault"
)

// exchange is the content of the file that marks an exchange in progress. While the file
// exists the exchange is not complete; the next start completes it.
type exchange struct {
	By    string `json:"by"`    // what takes the place, a name in the same directory
	Aside string `json:"aside"` // under which the old one is kept
	Sum   string `json:"sum"`   // SHA-256 of what takes the place, by which it is known under either name
}

const exchangeSuffix = ".exchange"

// Exchange replaces the database at path by the one at by, which must have no log. The old one
// and its log are kept under the name aside. The caller holds the claim, and no program may have
// either opened. If the file system can exchange names in one step, a complete database is at
// path at every moment.
func Exchange(path, by, aside string) error {
	path = resolved(path)
	if err := copyOwner(path, by); err != nil {
		return err
	}
	if err := flush(by); err != nil {
		return err
	}
	sum, err := sumOf(by)
	if err != nil {
		return err
	}
	text, err := json.Marshal(exchange{filepath.Base(by), filepath.Base(aside), sum})
	if err != nil {
		return err
	}
	begun := path + exchangeSuffix
	if err := os.WriteFile(begun, text, 0o600); err != nil {
		return err
	}
	if err := flush(begun); err != nil {
		return err
	}
	if err := flushDirectory(filepath.Dir(path)); err != nil {
		return err
	}
	return finishLocked(path)
}

// sumOf returns the SHA-256 of a file; "" if there is none.
func sumOf(path string) (string, error) {
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	} else if err != nil {
		return "", err
	}
	defer file.Close()
	sum := sha256.New()
	_, err = io.Copy(sum, file)
	return hex.EncodeToString(sum.Sum(nil)), err
}

// finishLocked completes an exchange.
func finishLocked(path string) error {
	begun := path + exchangeSuffix
	text, err := os.ReadFile(begun)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return err
	}
	var x exchange
	if json.Unmarshal(text, &x) == nil && filepath.Base(x.By) == x.By && filepath.Base(x.Aside) == x.Aside {
		for _, step := range x.steps(path) {
			if err := step(); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
			if err := flushDirectory(filepath.Dir(path)); err != nil {
				return err
			}
		}
	} // otherwise it was interrupted while it was written, and nothing has been done
	if err := os.Remove(begun); err != nil {
		return err
	}
	return flushDirectory(filepath.Dir(path))
}

// steps returns the operations of an exchange in order. Each can be repeated. An operation whose
// file does not exist any more is complete; if no file is at by, all are.
func (x exchange) steps(path string) []func() error {
	by, aside := filepath.Join(filepath.Dir(path), x.By), filepath.Join(filepath.Dir(path), x.Aside)
	if _, err := os.Stat(by); err != nil {
		return nil
	}
	swapped := false // the old database is at by
	return []func() error{
		func() error {
			now, err := sumOf(path)
			if err != nil {
				return err
			}
			if swapped = now == x.Sum; swapped {
				return nil
			}
			err = exchangeNames(path, by)
			if swapped = err == nil; !errors.Is(err, errors.ErrUnsupported) {
				return err
			}
			return linkOld(path, aside)
		},
		func() error { return os.Rename(path+"-wal", aside+"-wal") },
		func() error { return os.Remove(path + "-shm") },
		func() error {
			switch {
			case !swapped:
				return os.Rename(by, path)
			case same(by, aside): // rename(2) does nothing with two names of a file
				return os.Remove(by)
			}
			return os.Rename(by, aside)
		},
	}
}

// linkOld gives the old database a second name (hard link), so that another can replace it.
func linkOld(path, aside string) error {
	if same(path, aside) {
		return nil
	}
	if err := os.Link(path, aside); err == nil || errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrExist) {
		return err
	}
	return os.Rename(path, aside) // a file system without links
}

// RemovePart removes an unfinished new database, unless an exchange is in progress: its name may
// then be that of the old database.
func RemovePart(path string) {
	path = resolved(path)
	if _, err := os.Stat(path + exchangeSuffix); errors.Is(err, fs.ErrNotExist) {
		Remove(path + RescueSuffix)
	}
}

// Finish completes an exchange that was interrupted.
func Finish(path string) error {
	path = resolved(path)
	if _, err := os.Stat(path + exchangeSuffix); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	db := &DB{Path: path}
	claim, err := db.Claim("an ohmkeep that finishes a rescue", "")
	if err == nil {
		err = errors.Join(finishLocked(path), claim.Release())
	}
	if err != nil {
		return fault.Fault{File: path, Text: fmt.Sprintf("a rescue was cut off and cannot be finished: %v", err),
			Hint: "run ohmkeep store compact as who may write there"}
	}
	return nil
}
