package recovery

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/tables"
)

// table copies a table row by row, past those that cannot be read.
func table(ctx context.Context, from, to *sql.Tx, name string) (lost int, err error) {
	last, err := highest(ctx, from, name)
	if err != nil {
		return 0, err
	}
	insert := ""
	for id := int64(0); id <= last; {
		n, err := rows(ctx, from, "SELECT * FROM "+name+" WHERE id >= ? ORDER BY id", []any{id}, func(columns []string, row []any) error {
			if insert == "" {
				insert = inserting(name, columns)
			}
			this, ok := row[0].(int64)
			if !ok || this < id {
				return chunk.ErrDamaged // pages that point back would be read for ever
			}
			id = this + 1
			_, err := to.ExecContext(ctx, insert, row...)
			return err
		})
		switch {
		case err == nil:
			return lost, nil
		case !tables.Broken(err):
			return lost, err
		}
		// Somewhere behind what was read it is broken; one number after the other
		// is tried until a row comes again.
		if n == 0 {
			misses := 0
			for there := false; !there && id <= last; id++ {
				if misses++; misses > most {
					return lost, nil
				}
				one, err := rows(ctx, from, "SELECT * FROM "+name+" WHERE id = ?", []any{id}, func(columns []string, row []any) error {
					if insert == "" {
						insert = inserting(name, columns)
					}
					_, err := to.ExecContext(ctx, insert, row...)
					return err
				})
				switch {
				case tables.Broken(err):
					lost++
				case err != nil:
					return lost, err
				}
				there = one > 0
			}
		}
	}
	return lost, nil
}

// most is how many numbers may follow each other without a row before the rest is given up: more
// than any part of a table holds of which one page is broken.
const most = 20_000

// highest gives the highest number of a row, or of those that an index names
// where the table's own end is broken.
func highest(ctx context.Context, from *sql.Tx, name string) (id int64, err error) {
	queries := []string{"SELECT coalesce(max(id), -1) FROM " + name}
	switch name {
	case "chunk":
		queries = append(queries, "SELECT coalesce(max(id), -1) FROM chunk INDEXED BY chunk_series WHERE series > 0")
	case "moments":
		queries = append(queries, "SELECT coalesce(max(moments), -1) FROM chunk")
	}
	for _, q := range queries {
		if err = from.QueryRowContext(ctx, q).Scan(&id); !tables.Broken(err) {
			return id, err
		}
	}
	return math.MaxInt32, nil // it ends where most numbers in a row were not there
}

// hourly copies the hours. They have no numbers: what lies behind the first damage
// is read from the other end.
func hourly(ctx context.Context, from, to *sql.Tx) (lost int, err error) {
	for _, order := range []string{"", " ORDER BY series DESC, hour DESC"} {
		_, err := rows(ctx, from, "SELECT * FROM hourly"+order, nil, func(columns []string, row []any) error {
			_, err := to.ExecContext(ctx, inserting("hourly", columns), row...)
			return err
		})
		if err == nil || !tables.Broken(err) {
			return lost, err
		}
		lost++
	}
	return lost, nil
}

func inserting(table string, columns []string) string {
	return "INSERT OR IGNORE INTO " + table + " (" + strings.Join(columns, ", ") + ") VALUES (?" + strings.Repeat(", ?", len(columns)-1) + ")"
}

// rows calls take with row after row.
func rows(ctx context.Context, tx *sql.Tx, query string, args []any, take func(columns []string, row []any) error) (n int, err error) {
	found, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	defer found.Close()
	columns, err := found.Columns()
	if err != nil {
		return 0, err
	}
	row, into := make([]any, len(columns)), make([]any, len(columns))
	for i := range row {
		into[i] = &row[i]
	}
	for found.Next() {
		if err := found.Scan(into...); err != nil {
			return n, err
		}
		if err := take(columns, row); errors.Is(err, chunk.ErrDamaged) {
			return n, err
		} else if err != nil {
			return n, fmt.Errorf("write: %s", err.Error()) // not one of reading
		}
		n++
	}
	return n, found.Err()
}
