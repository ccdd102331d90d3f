package sqlitefile

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"ohmkeep/internal/fault"
)

var damaged = fault.Fault{Text: "the store is damaged", Hint: "look with: ohmkeep store check"}

// explanations hold, for SQLite's primary result codes, what the code means for a store and
// what to do.
var explanations = map[int]fault.Fault{
	sqlite3.SQLITE_BUSY: {Text: "another program is writing to the store",
		Hint: "try again when it is done"},
	sqlite3.SQLITE_LOCKED:   {Text: "the store is locked by another reader or writer", Hint: "try again"},
	sqlite3.SQLITE_READONLY: {Text: "the store may not be written to", Hint: "check the rights of the file and its directory"},
	sqlite3.SQLITE_PERM:     {Text: "the store may not be used", Hint: "check the rights of the file and its directory"},
	sqlite3.SQLITE_CANTOPEN: {Text: "the store cannot be opened", Hint: "check the rights of the file and its directory"},
	sqlite3.SQLITE_IOERR:    {Text: "the disk cannot be read or written", Hint: "see the system's log; the disk or card may be failing"},
	sqlite3.SQLITE_FULL:     {Text: "the disk is full; nothing was stored", Hint: "make room and try again"},
	sqlite3.SQLITE_NOTADB:   {Text: "this is not a store", Hint: "name the store's file"},
	sqlite3.SQLITE_CORRUPT:  {Text: "the store is damaged", Hint: "look with: ohmkeep store check"},
}

// failure is a known way in which a store fails. It prints as its fault and unwraps to
// that and to its cause.
type failure struct {
	fault fault.Fault
	cause error
}

func (f failure) Error() string   { return f.fault.Error() }
func (f failure) Unwrap() []error { return []error{f.fault, f.cause} }

// Explain adds the store's path and, for a known result code, an explanation to an error.
func Explain(path string, err error) error {
	if err == nil {
		return nil
	}
	if known, ok := errors.AsType[failure](err); ok {
		if known.fault.File == "" {
			known.fault.File = path
		}
		return known
	}
	if f, ok := errors.AsType[fault.Fault](err); ok {
		if f.File == "" {
			f.File = path
		}
		return f
	}
	if cause, ok := errors.AsType[*sqlite.Error](err); ok {
		f, ok := explanations[primary(cause)]
		if !ok && Damaged(err) {
			f, ok = damaged, true
		}
		if ok {
			f.File = path
			return failure{f, err}
		}
	}
	return fmt.Errorf("%s: %w", path, err)
}

// primary returns the primary result code: the low byte of an extended one.
func primary(err *sqlite.Error) int { return err.Code() & 0xff }

// Busy reports whether another program holds a lock that is needed.
func Busy(err error) bool {
	cause, ok := errors.AsType[*sqlite.Error](err)
	return ok && primary(cause) == sqlite3.SQLITE_BUSY
}

// cannotCreate reports whether SQLite lacks the right to make a file beside a store.
func cannotCreate(err error) bool {
	cause, ok := errors.AsType[*sqlite.Error](err)
	return ok && (primary(cause) == sqlite3.SQLITE_CANTOPEN || primary(cause) == sqlite3.SQLITE_READONLY)
}

// Cancelled returns the context's error in place of an error that the end of the context
// caused, such as that of a closed statement.
func Cancelled(ctx context.Context, err error) error {
	if ended := ctx.Err(); ended != nil {
		return ended
	}
	return err
}

var errHead = errors.New("its first bytes are not those of a database")

// ErrBeginning is the error of a database whose beginning is damaged, ErrNotStore that of
// a file that does not look like one.
var (
	ErrBeginning error = failure{damaged, errHead}
	ErrNotStore        = errors.New("not a database")
)

// structureCodes are result codes that only a damaged file can cause, because this program
// violates no constraint and reads no table that does not exist.
var structureCodes = []int{sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_FORMAT,
	sqlite3.SQLITE_SCHEMA}

// Damaged reports whether a database was found damaged.
func Damaged(err error) bool {
	if errors.Is(err, errHead) || errors.Is(err, errObjects) {
		return true
	}
	cause, ok := errors.AsType[*sqlite.Error](err)
	return ok && (slices.Contains(structureCodes, primary(cause)) ||
		primary(cause) == sqlite3.SQLITE_ERROR && strings.Contains(cause.Error(), "no such "))
}
