// Package file opens the files that a person names and writes those that a person
// asks for.
//
// An input is a regular file of a bounded size: a named pipe would block, and a device
// such as /dev/zero never ends. An output is written whole or not at all, and never
// takes the place of something that it should not: see Output.
package file

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"ohmkeep/internal/fault"
)

// Largest sizes of inputs, in bytes: far above what is useful, far below what fills a
// memory.
const (
	MaxRunFile    = 8 << 20
	MaxTranscript = 256 << 20
	MaxReadings   = 2 << 30
	MaxStream     = 256 << 20 // of standard input, all of which is held in memory
)

// Open opens a regular file of at most max bytes to read it. Its errors name the file.
func Open(path string, max int64) (*os.File, error) {
	info, err := os.Stat(path) // before opening: to open a named pipe may block
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, fault.Cause(err))
	}
	if err := readable(path, info, max); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, fault.Cause(err))
	}
	if info, err = f.Stat(); err == nil { // what was opened may be another file by now
		err = readable(path, info, max)
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// Read returns the content of a regular file of at most max bytes. Its errors name the
// file.
func Read(path string, max int64) ([]byte, error) {
	f, err := Open(path, max)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return ReadAll(path, f, max)
}

// ReadAll returns all that a stream holds, which is at most max bytes; name is the
// stream's, for errors.
func ReadAll(name string, src io.Reader, max int64) ([]byte, error) {
	content, err := io.ReadAll(io.LimitReader(src, max+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, fault.Cause(err))
	}
	if int64(len(content)) > max {
		return nil, tooLarge(name, max)
	}
	return content, nil
}

func readable(path string, info fs.FileInfo, max int64) error {
	if !info.Mode().IsRegular() {
		return fault.Fault{File: path, Text: "is " + typeOf(info.Mode()) + ", not a file", Hint: "name a file"}
	}
	if info.Size() > max {
		return tooLarge(path, max)
	}
	return nil
}

func tooLarge(name string, max int64) error {
	return fault.Fault{File: name, Text: fmt.Sprintf("is larger than %d MB", max>>20), Hint: "is it the right file?"}
}

// typeOf returns the type of a path that is not a regular file.
func typeOf(m fs.FileMode) string {
	switch {
	case m.IsDir():
		return "a directory"
	case m&fs.ModeNamedPipe != 0:
		return "a named pipe"
	case m&fs.ModeSocket != 0:
		return "a socket"
	}
	return "a device"
}
