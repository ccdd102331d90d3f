// Package pages reads rows from the leaf pages of an SQLite database without SQLite. So it
// finds them even if the pages above them, the schema or the header are damaged.
//
// It does not check whether rows are right: pages carry no checksums.
// The format is that of SQLite, "Database File Format", whose sections are named where
// they are used.
package pages

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
)

// Source returns pages of a database by their numbers, which begin with 1.
type Source interface {
	Page(n int) ([]byte, error) // good until the next call
	Count() int
}

// ErrPage is the error of a page that cannot be read.
var ErrPage = errors.New("a page of the database cannot be read")

// Snapshot reads pages as a transaction sees them.
type Snapshot struct {
	stmt  *sql.Stmt
	count int
	page  sql.RawBytes
	rows  *sql.Rows
}

// NewSnapshot prepares reading pages within a transaction. It fails where SQLite cannot
// read the schema of the database.
func NewSnapshot(ctx context.Context, tx *sql.Tx) (*Snapshot, error) {
	s := &Snapshot{}
	if err := tx.QueryRowContext(ctx, "PRAGMA page_count").Scan(&s.count); err != nil {
		return nil, err
	}
	var err error
	s.stmt, err = tx.PrepareContext(ctx, "SELECT data FROM sqlite_dbpage WHERE pgno = ?")
	return s, err
}

// Count returns the number of pages.
func (s *Snapshot) Count() int { return s.count }

// Page returns a page.
func (s *Snapshot) Page(n int) ([]byte, error) {
	if err := s.done(); err != nil {
		return nil, err
	}
	var err error
	if s.rows, err = s.stmt.Query(n); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrPage, err)
	}
	if !s.rows.Next() {
		return nil, errors.Join(ErrPage, s.rows.Err())
	}
	return s.page, s.rows.Scan(&s.page)
}

func (s *Snapshot) done() (err error) {
	if s.rows != nil {
		err = s.rows.Close()
		s.rows = nil
	}
	return err
}

// Close ends the reading.
func (s *Snapshot) Close() error { return errors.Join(s.done(), s.stmt.Close()) }

// Places in the header of a database (section 1.3).
const (
	pageSizeAt  = 16
	firstFreeAt = 32
	headerSize  = 100
)

// freePages returns the pages of the free list (section 1.5), which may hold deleted rows. known
// is false if the list is damaged, so that there may be more free pages.
func freePages(src Source) (pages map[int]bool, known bool) {
	pages = map[int]bool{}
	head, err := src.Page(1)
	if err != nil || len(head) < headerSize || string(head[:len(magic)]) != magic {
		return pages, false
	}
	count := int(binary.BigEndian.Uint32(head[firstFreeAt+4:]))
	for next := int(binary.BigEndian.Uint32(head[firstFreeAt:])); next != 0; {
		if next < 2 || next > src.Count() || pages[next] {
			return pages, false
		}
		trunk, err := src.Page(next)
		if err != nil {
			return pages, false
		}
		pages[next] = true
		n := int(binary.BigEndian.Uint32(trunk[4:]))
		if n > len(trunk)/4-2 {
			return pages, false
		}
		for i := range n {
			leaf := int(binary.BigEndian.Uint32(trunk[8+4*i:]))
			if leaf < 2 || leaf > src.Count() {
				return pages, false
			}
			pages[leaf] = true
		}
		next = int(binary.BigEndian.Uint32(trunk))
	}
	return pages, len(pages) == count
}

const magic = "SQLite format 3\x00"
