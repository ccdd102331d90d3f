package sqlitefile

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"ohmkeep/internal/fault"
)

// Claim is the exclusive right to use a Writer on a store. It ends with Release or with the
// program, even if that is killed. A lock file beside the store names the holder; Release
// removes it.
type Claim struct {
	file   *os.File
	path   string
	store  *os.File // the database itself; nil where it is not locked
	db     *DB
	holder Holder
}

// Holder is the program that holds a claim.
type Holder struct {
	Name    string    `json:"name"` // of the program
	Process int       `json:"process"`
	Since   time.Time `json:"since"`
	Address string    `json:"address,omitempty"` // host:port where it answers over HTTP; "" = nowhere
}

func (h Holder) String() string {
	if h.Name == "" {
		return "another program" // it has not written its name yet
	}
	at := ""
	if h.Address != "" {
		at = " at " + h.Address
	}
	return fmt.Sprintf("%s (process %d, since %s)%s", h.Name, h.Process, h.Since.Format(time.RFC3339), at)
}

// errClaimed is the error of a claim that another program holds.
var errClaimed = errors.New("claimed")

// claimSuffix names the file beside a store.
const claimSuffix = ".lock"

// Claim takes the claim for the program name, which answers over HTTP at address (""
// = nowhere). If another program holds the claim, the error names it.
func (db *DB) Claim(name, address string) (*Claim, error) {
	path := resolved(db.Path) + claimSuffix
	refused := 0
	for range 100 {
		file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
		if err == nil {
			err = copyOwner(resolved(db.Path), path)
		}
		if err != nil {
			return nil, fmt.Errorf("claim %s: %w", db.Path, err)
		}
		switch err := lockFile(file, true); {
		case errors.Is(err, errClaimed):
			holder := readHolder(file)
			file.Close()
			// FindHolder in another program also locks the file briefly.
			if refused++; refused < 5 {
				time.Sleep(10 * time.Millisecond)
				continue
			}
			return nil, fault.Fault{File: db.Path, Text: "the store is kept by " + holder.String(),
				Hint: "stop it first, or give this one a store of its own"}
		case err != nil:
			file.Close()
			return nil, fmt.Errorf("claim %s: %w", db.Path, err)
		}
		// The previous holder may have removed the file since it was opened.
		if held, err := file.Stat(); err == nil {
			if there, err := os.Stat(path); err == nil && os.SameFile(held, there) {
				c := &Claim{file: file, path: path, db: db, holder: Holder{name, os.Getpid(), time.Now().UTC().Truncate(time.Second), address}}
				c.store, err = lockStore(resolved(db.Path))
				switch {
				case errors.Is(err, errClaimed):
					err = fault.Fault{File: db.Path, Text: "the store is kept by another program, which reaches it under another path",
						Hint: "stop it first, or give this one a store of its own"}
				case errors.Is(err, fs.ErrNotExist): // during a rescue the store may not exist
					err = nil
				}
				if err == nil {
					err = c.writeHolder()
				}
				RemovePart(db.Path) // of a rescue that was killed
				removeIdleJournal(resolved(db.Path))
				if err != nil {
					return nil, errors.Join(err, c.Release())
				}
				return c, nil
			}
		}
		file.Close()
	}
	return nil, fault.Fault{File: path, Text: "the file comes and goes", Hint: "does another program start again and again?"}
}

// FindHolder returns the program that has claimed a store. Where no program holds the
// claim, held is false and h is the program that was killed while it held it; the zero
// Holder if there was no such program.
func FindHolder(path string) (h Holder, held bool, err error) {
	file, err := os.Open(resolved(path) + claimSuffix)
	if errors.Is(err, fs.ErrNotExist) {
		return Holder{}, false, nil
	} else if err != nil {
		return Holder{}, false, fmt.Errorf("claim %s: %w", path, err)
	}
	defer file.Close()
	if err := lockFile(file, false); err != nil && !errors.Is(err, errClaimed) {
		return Holder{}, false, fmt.Errorf("claim %s: %w", path, err)
	} else {
		held = err != nil
	}
	return readHolder(file), held, nil
}

func readHolder(file *os.File) (h Holder) {
	text, err := io.ReadAll(io.NewSectionReader(file, 0, 4096))
	if err != nil || json.Unmarshal(text, &h) != nil {
		return Holder{} // the holder may be writing it now
	}
	return h
}

// At sets the address at which the holder answers over HTTP.
func (c *Claim) At(address string) error {
	c.holder.Address = address
	return c.writeHolder()
}

// writeHolder writes the holder into the lock file.
func (c *Claim) writeHolder() error {
	text, err := json.Marshal(c.holder)
	if err == nil {
		err = c.file.Truncate(0)
	}
	if err == nil {
		_, err = c.file.WriteAt(append(text, '\n'), 0)
	}
	if err != nil {
		return fmt.Errorf("claim: %w", err)
	}
	return nil
}

// Release ends the claim.
func (c *Claim) Release() error {
	err := removeLocked(c.path, c.file)
	if errors.Is(err, fs.ErrNotExist) {
		err = nil // its directory was renamed, or the file was removed
	}
	if c.store != nil {
		err = errors.Join(err, c.db.unlockStore(c.store))
	}
	return err
}
