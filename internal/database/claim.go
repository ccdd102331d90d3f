package database

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"ohmkeep/internal/fault"
)

// Claim is the right to be the one that keeps writing to a store. It ends with
// Release or with the program, however that ends.
type Claim struct {
	file *os.File
	path string
}

// errClaimed tells that another program holds the claim.
var errClaimed = errors.New("claimed")

// Claim takes the claim for a program that calls itself name. Where another one
// holds it, the error says which.
func (db *DB) Claim(name string) (*Claim, error) {
	path := db.Path + ".lock"
	for range 100 {
		file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
		if err != nil {
			return nil, fmt.Errorf("claim %s: %w", db.Path, err)
		}
		switch err := lock(file); {
		case errors.Is(err, errClaimed):
			holder, _ := io.ReadAll(io.LimitReader(file, 200))
			file.Close()
			who := strings.TrimSpace(string(holder))
			if who == "" {
				who = "another program" // which has only just begun
			}
			return nil, fault.Fault{File: db.Path, Text: "the store is kept by " + who,
				Hint: "stop it first, or give this one a store of its own"}
		case err != nil:
			file.Close()
			return nil, fmt.Errorf("claim %s: %w", db.Path, err)
		}
		// Whoever held it before may have removed the file since it was opened.
		if held, err := file.Stat(); err == nil {
			if there, err := os.Stat(path); err == nil && os.SameFile(held, there) {
				c := &Claim{file, path}
				return c, c.sign(name)
			}
		}
		file.Close()
	}
	return nil, fault.Fault{File: path, Text: "the file comes and goes", Hint: "does another program start again and again?"}
}

// sign writes into the file who holds the claim, for people and for the next one.
func (c *Claim) sign(name string) error {
	text := fmt.Sprintf("%s, process %d, since %s\n", name, os.Getpid(), time.Now().Format(time.RFC3339))
	err := c.file.Truncate(0)
	if err == nil {
		_, err = c.file.WriteAt([]byte(text), 0)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("claim: %w", err), c.Release())
	}
	return nil
}

// Release gives the claim up.
func (c *Claim) Release() error {
	return errors.Join(os.Remove(c.path), c.file.Close())
}
