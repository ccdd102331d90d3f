package file

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"ohmkeep/internal/fault"
)

// Output is a file that a command writes.
//
// A page, a picture or a copy of a store takes the place of an older one that ohmkeep
// has made. Anything else that is there already is replaced only by Force, and some of
// it never: an input of the same call, a file that ohmkeep knows as one of another kind
// (a store, a run file, readings), a store that is in use, and what is no regular file.
type Output struct {
	Path   string
	Kind   Kind
	Force  bool     // replace what is not known as ours
	Inputs []string // the files that the same call reads
}

// Check reports why the file may not be written, before any work is done for it.
func (o Output) Check() error {
	refuse := func(text, hint string) error { return fault.Fault{File: o.Path, Text: text, Hint: hint} }
	folder := filepath.Dir(o.Path)
	if info, err := os.Stat(folder); err != nil || !info.IsDir() {
		return refuse("there is no folder "+folder, "make it first, or name another")
	}
	info, err := os.Stat(o.Path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return fmt.Errorf("%s: %w", o.Path, fault.Cause(err))
	}
	if !info.Mode().IsRegular() {
		return refuse("is "+typeOf(info.Mode())+", not a file", "name a file")
	}
	for _, input := range o.Inputs {
		if other, err := os.Stat(input); err == nil && os.SameFile(info, other) {
			return refuse("is read by the same call", "name another file")
		}
	}
	found := KindOf(o.Path)
	switch {
	case found == Store && inUse(o.Path):
		return refuse("is a store in use: its log is beside it", "name another file")
	case found != Unknown && found != o.Kind:
		return refuse("is "+found.String()+", which nothing of another kind replaces", "name another file")
	case o.Force || info.Size() == 0 || found == o.Kind && found.replaceable():
		return nil
	case found == Unknown:
		return refuse("is there already, and is not "+o.Kind.String()+" made by ohmkeep", "name another file, or replace it with --force")
	}
	return refuse("is "+found.String()+" that is there already", "name another file, or replace it with --force")
}

// inUse reports whether the log of an open SQLite database is beside it.
func inUse(path string) bool {
	_, err := os.Stat(path + "-wal")
	return err == nil
}

// Write writes the file whole or not at all: on disk before its name leads to it. Links
// are followed. Its errors name the file.
func (o Output) Write(write func(io.Writer) error) error {
	if err := o.Check(); err != nil {
		return err
	}
	path := o.Path
	if target, err := filepath.EvalSymlinks(path); err == nil {
		path = target
	}
	// All of it is there before a file is made, so that a program ended meanwhile leaves none.
	var content bytes.Buffer
	err := write(&content)
	if err == nil {
		err = replace(path, func(w io.Writer) error { _, err := content.WriteTo(w); return err })
	}
	if err != nil {
		return fmt.Errorf("%s: %w", o.Path, fault.Cause(err))
	}
	return nil
}
