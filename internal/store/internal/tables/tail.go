package tables

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
)

// AppendTail adds the readings of one commit to the tail. The sections are in the
// rising order of their series.
func AppendTail(ctx context.Context, tx *sql.Tx, sections []chunk.Section) error {
	n := 0
	for _, s := range sections {
		n += len(s.Records)
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO tail (readings, block) VALUES (?, ?)", n, chunk.AppendBatch(nil, sections))
	return err
}

// TailSize gives how many commits and readings the tail holds.
func TailSize(ctx context.Context, tx *sql.Tx) (commits, readings int, err error) {
	err = tx.QueryRowContext(ctx, "SELECT count(*), coalesce(sum(readings), 0) FROM tail").Scan(&commits, &readings)
	return commits, readings, err
}

// Tail gives the readings of the tail that belong to wanted series (nil = all), in
// the order of their series and within each of their times. Commits that are
// damaged are left out and named by their numbers.
func Tail(ctx context.Context, tx *sql.Tx, wanted func(series int64) bool) (sections []chunk.Section, damaged []int64, err error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, block FROM tail ORDER BY id")
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	all := map[int64]*chunk.Section{}
	var batch chunk.Batch
	last := int64(-1)
	for rows.Next() {
		var id int64
		var block sql.RawBytes
		if err := rows.Scan(&id, &block); err != nil {
			return nil, nil, err
		}
		if id <= last { // pages that point back would be read for ever
			return nil, nil, chunk.ErrDamaged
		}
		last = id
		if err := batch.Decode(block, wanted, func(s chunk.Section) error {
			held := all[s.Series]
			if held == nil {
				held = &chunk.Section{Series: s.Series, Texts: s.Texts}
				all[s.Series] = held
			}
			held.Records = append(held.Records, s.Records...)
			return nil
		}); err != nil {
			damaged = append(damaged, id)
		}
	}
	for _, s := range all {
		InOrder(s.Records)
		sections = append(sections, *s)
	}
	slices.SortFunc(sections, func(a, b chunk.Section) int { return cmp.Compare(a.Series, b.Series) })
	return sections, damaged, rows.Err()
}

// Fold moves the tail into chunks, together with more sections that are sorted
// alike. Commits that are damaged stay where they are, to be told of.
func Fold(ctx context.Context, tx *sql.Tx, more []chunk.Section) error {
	sections, damaged, err := Tail(ctx, tx, nil)
	if err != nil {
		return err
	}
	if err := Insert(ctx, tx, sections); err != nil {
		return err
	}
	if err := Insert(ctx, tx, more); err != nil {
		return err
	}
	kept, err := json.Marshal(damaged) // null, where there are none
	if err == nil {
		_, err = tx.ExecContext(ctx, "DELETE FROM tail WHERE id NOT IN (SELECT value FROM json_each(?) WHERE value IS NOT NULL)", string(kept))
	}
	return err
}
