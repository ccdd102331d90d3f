// Package recovery finds out what of a store is whole, and takes that into a new one.
//
// SQLite notices damage to its own pages, and the checksums of blocks notice all
// other. What is damaged is told and left out; nothing is guessed.
package recovery

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// Found is what a check has found.
type Found struct {
	Chunks, Commits int   // that are whole
	Readings        int64 // in those
	Damage          tables.Damage
	Faults          []string // what SQLite says is wrong, and what is said falsely of a chunk
}

// Whole tells whether nothing is wrong.
func (f Found) Whole() bool { return !f.Damage.Any() && len(f.Faults) == 0 }

// Check reads everything.
func Check(ctx context.Context, tx *sql.Tx) (f Found, err error) {
	if f.Faults, err = integrity(ctx, tx); err != nil {
		return f, err
	}
	series, err := numbers(ctx, tx, "SELECT id FROM series ORDER BY id")
	if err != nil {
		return f, past(&f, err)
	}
	for _, id := range series {
		chunks, err := tables.Chunks(ctx, tx, id, tables.Beginning, tables.End)
		if err != nil {
			if err := past(&f, err); err != nil {
				return f, err
			}
			continue
		}
		if err := f.chunks(ctx, tx, chunks); err != nil {
			return f, err
		}
	}
	tail, lost, err := tables.Tail(ctx, tx, nil)
	if err != nil {
		return f, past(&f, err)
	}
	f.Damage.Commits += len(lost)
	for _, s := range tail {
		f.Readings += int64(len(s.Records))
	}
	f.Commits, _, err = tables.TailSize(ctx, tx)
	f.Commits -= len(lost)
	return f, past(&f, err)
}

// past notes damage, and gives an error of any other kind back.
func past(f *Found, err error) error {
	if tables.Broken(err) {
		f.Faults = append(f.Faults, err.Error())
		return nil
	}
	return err
}

func (f *Found) chunks(ctx context.Context, tx *sql.Tx, chunks []tables.Chunk) error {
	var m chunk.Moments
	var v chunk.Values
	return tables.OpenAll(ctx, tx, chunks, &f.Damage, func(i int, moments, values []byte) (bool, error) {
		c := &chunks[i]
		if err := c.Decode(moments, values, &m, &v); err != nil {
			return false, err
		}
		if !c.Says(&m, &v) {
			f.Faults = append(f.Faults, fmt.Sprintf("chunk %d says something else of its readings than they do", c.ID))
		}
		if i > 0 && c.First < chunks[i-1].Last {
			f.Faults = append(f.Faults, fmt.Sprintf("chunk %d begins before chunk %d ends", c.ID, chunks[i-1].ID))
		}
		f.Chunks++
		f.Readings += int64(c.N)
		return true, nil
	})
}

// integrity asks SQLite what is wrong with its pages.
func integrity(ctx context.Context, tx *sql.Tx) (faults []string, err error) {
	rows, err := tx.QueryContext(ctx, "PRAGMA integrity_check(20)")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		for line := range strings.Lines(text) {
			if line = strings.TrimSpace(line); line != "ok" && !strings.HasPrefix(line, "***") {
				faults = append(faults, line)
			}
		}
	}
	if err := rows.Err(); sqlitefile.Damaged(err) {
		faults = append(faults, err.Error())
	} else if err != nil {
		return nil, err
	}
	return faults, nil
}

func numbers(ctx context.Context, tx *sql.Tx, query string, args ...any) (ids []int64, err error) {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		if err := rows.Scan(&id); err != nil {
			return ids, err
		}
		ids = append(ids, id)
	}
	return ids, rows.Err()
}

// Into copies all rows that can be read and are whole into an empty store. It
// gives how many rows are lost, as far as they are known.
func Into(ctx context.Context, from, to *sql.Tx) (lost int, err error) {
	// Without the table of tables nothing is found; each try would read it again.
	if err := from.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&lost); err != nil {
		return 0, err
	}
	lost = 0
	// Rows may come before those that they refer to, or without; at the end none does.
	if _, err := to.ExecContext(ctx, "PRAGMA defer_foreign_keys = ON"); err != nil {
		return 0, err
	}
	for _, t := range []string{"run", "source", "series", "boot", "mark", "state", "moments", "chunk", "tail"} {
		n, err := table(ctx, from, to, t)
		if err != nil {
			return lost, fmt.Errorf("table %s: %w", t, err)
		}
		lost += n
	}
	if err := fromIndexes(ctx, from, to); err != nil {
		return lost, err
	}
	n, err := hourly(ctx, from, to)
	if err != nil {
		return lost, err
	}
	lost += n
	// What refers to a lost row is lost with it.
	for _, orphan := range []string{
		"DELETE FROM source WHERE run NOT IN (SELECT id FROM run)",
		"DELETE FROM mark WHERE run NOT IN (SELECT id FROM run)",
		"DELETE FROM state WHERE run NOT IN (SELECT id FROM run)",
		"DELETE FROM series WHERE run NOT IN (SELECT id FROM run)",
		"DELETE FROM hourly WHERE series NOT IN (SELECT id FROM series)",
		"DELETE FROM chunk WHERE series NOT IN (SELECT id FROM series) OR moments NOT IN (SELECT id FROM moments)",
		"DELETE FROM moments WHERE id NOT IN (SELECT moments FROM chunk)",
	} {
		result, err := to.ExecContext(ctx, orphan)
		if err != nil {
			return lost, err
		}
		n, err := result.RowsAffected()
		if err != nil {
			return lost, err
		}
		lost += int(n)
	}
	return lost, broken(ctx, to, &lost)
}

// broken lets blocks go whose checksums do not fit.
func broken(ctx context.Context, to *sql.Tx, lost *int) error {
	series, err := numbers(ctx, to, "SELECT id FROM series")
	if err != nil {
		return err
	}
	for _, id := range series {
		chunks, err := tables.Chunks(ctx, to, id, tables.Beginning, tables.End)
		if err != nil {
			return err
		}
		for _, c := range chunks {
			var m chunk.Moments
			var v chunk.Values
			switch err := c.Load(ctx, to, &m, &v); {
			case err == nil && c.Says(&m, &v):
			case err == nil, errors.Is(err, chunk.ErrDamaged):
				*lost++
				if _, err := to.ExecContext(ctx, "DELETE FROM chunk WHERE id = ?", c.ID); err != nil {
					return err
				}
			default:
				return err
			}
		}
	}
	tail, err := numbers(ctx, to, "SELECT id FROM tail")
	if err != nil {
		return err
	}
	var batch chunk.Batch
	for _, id := range tail {
		var block []byte
		if err := to.QueryRowContext(ctx, "SELECT block FROM tail WHERE id = ?", id).Scan(&block); err != nil {
			return err
		}
		if batch.Decode(block, nil, func(chunk.Section) error { return nil }) != nil {
			*lost++
			if _, err := to.ExecContext(ctx, "DELETE FROM tail WHERE id = ?", id); err != nil {
				return err
			}
		}
	}
	_, err = to.ExecContext(ctx, "DELETE FROM moments WHERE id NOT IN (SELECT moments FROM chunk)")
	return err
}
