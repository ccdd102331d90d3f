// Package recovery finds the undamaged readings of a store and copies them to a new one.
//
// It reads rows directly from the pages of the file, without SQLite. So it works for every
// damage: a root page, the schema, the header, a truncated file. The checksum of a block
// shows whether its readings are undamaged and to which series they belong. Damaged
// readings, and those of a series whose name is lost, are counted and stay in the damaged
// file. Nothing is guessed.
package recovery

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/pages"
	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// Found is the result of a check.
type Found struct {
	Chunks, Commits int // undamaged ones; set only if there are no faults
	Count
	Faults []string // one line for each fault
}

// Check reads the whole store. If it finds a fault, the count is that of the readings that a
// rescue would keep.
func Check(ctx context.Context, tx *sql.Tx) (f Found, err error) {
	if f.Faults, err = integrity(ctx, tx); err == nil {
		err = f.blocks(ctx, tx)
	}
	if tables.Broken(err) {
		f.Faults, err = append(f.Faults, "not all of the file can be read"), nil
	}
	if err != nil || len(f.Faults) == 0 {
		return f, err
	}
	src, err := pages.NewSnapshot(ctx, tx)
	if err != nil {
		return f, err
	}
	defer src.Close()
	f.Count, err = CountWhole(ctx, src)
	return f, err
}

// CountWhole returns how many readings a rescue would keep of a database.
func CountWhole(ctx context.Context, src pages.Source) (Count, error) {
	s, err := find(ctx, src)
	if err != nil {
		return Count{}, err
	}
	return s.Count, nil
}

func find(ctx context.Context, src pages.Source) (*salvage, error) {
	v, err := collect(ctx, src)
	if err != nil {
		return nil, err
	}
	return verify(ctx, src, v)
}

// blocks decodes every block.
func (f *Found) blocks(ctx context.Context, tx *sql.Tx) error {
	held, err := tables.StoredCounts(ctx, tx)
	if err != nil {
		return err
	}
	series, err := tables.Every(ctx, tx)
	if err != nil {
		return err
	}
	incomplete := 0 // series
	for _, s := range series {
		chunks, err := tables.Chunks(ctx, tx, s, tables.Beginning, tables.End)
		if err != nil {
			return err
		}
		before := f.Readings
		if err := f.chunks(ctx, tx, chunks); err != nil {
			return err
		}
		if n := f.Readings - before; n != held[s.ID] {
			incomplete++
		}
		delete(held, s.ID)
	}
	if incomplete > 0 {
		f.Faults = append(f.Faults, fmt.Sprintf("%d of %d series are not complete", incomplete, len(series)))
	}
	var nameless int64 // readings
	for _, n := range held {
		nameless += n
	}
	if nameless > 0 {
		f.Faults = append(f.Faults, fmt.Sprintf("where %d readings were taken is lost", nameless))
	}
	tail, err := tables.Tail(ctx, tx, nil)
	if err != nil {
		return err
	}
	if tail.Orphans > 0 {
		f.Faults = append(f.Faults, fmt.Sprintf("where %d of the newest readings were taken is lost", tail.Orphans))
	}
	if n := len(tail.Damaged); n > 0 {
		f.Faults = append(f.Faults, fmt.Sprintf("%d commits are damaged", n))
	}
	for _, s := range tail.Sections {
		f.Readings += int64(len(s.Records))
	}
	f.Commits, _, err = tables.TailSize(ctx, tx)
	return err
}

func (f *Found) chunks(ctx context.Context, tx *sql.Tx, chunks []tables.Chunk) error {
	var m chunk.Moments
	var v chunk.Values
	var records []chunk.Record
	var damage tables.Damage // not used: the counts show what is lost
	return tables.OpenAll(ctx, tx, chunks, &damage, func(i int, moments, values []byte) (bool, error) {
		c := &chunks[i]
		if err := c.Decode(moments, values, &m, &v); err != nil {
			return false, err
		}
		if !c.Matches(&m, &v, &records) {
			f.Faults = append(f.Faults, fmt.Sprintf("chunk %d does not match its readings", c.ID))
		}
		if i > 0 && c.First < chunks[i-1].Last {
			f.Faults = append(f.Faults, fmt.Sprintf("chunk %d begins before chunk %d ends", c.ID, chunks[i-1].ID))
		}
		f.Chunks++
		f.Readings += int64(c.N)
		return true, nil
	})
}

// maxFaults is the largest number of faults of pages that SQLite reports.
const maxFaults = 20

// integrity returns the number of damaged places that SQLite finds in its pages. The details help
// only developers of a database and are not returned.
func integrity(ctx context.Context, tx *sql.Tx) (faults []string, err error) {
	rows, err := tx.QueryContext(ctx, fmt.Sprintf("PRAGMA integrity_check(%d)", maxFaults))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	n := 0
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		for line := range strings.Lines(text) {
			if line = strings.TrimSpace(line); line != "ok" && !strings.HasPrefix(line, "***") {
				n++
			}
		}
	}
	if err := rows.Err(); sqlitefile.Damaged(err) {
		n++
	} else if err != nil {
		return nil, err
	}
	switch {
	case n >= maxFaults:
		faults = []string{fmt.Sprintf("the file is damaged in %d places or more", maxFaults)}
	case n > 1:
		faults = []string{fmt.Sprintf("the file is damaged in %d places", n)}
	case n == 1:
		faults = []string{"the file is damaged in one place"}
	}
	return faults, nil
}
