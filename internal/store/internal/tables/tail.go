package tables

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
)

// AppendTail adds the readings of one commit to the tail. The sections are in order of their
// series. For the series in name it also stores their names.
func AppendTail(ctx context.Context, tx *sql.Tx, sections []chunk.Section, name []int64) error {
	n := 0
	for _, s := range sections {
		n += len(s.Records)
	}
	block := chunk.AppendBatch(nil, sections)
	if len(name) == 0 {
		_, err := tx.ExecContext(ctx, "INSERT INTO tail (readings, block) VALUES (?, ?)", n, block)
		return err
	}
	numbers, err := json.Marshal(name)
	if err == nil {
		_, err = tx.ExecContext(ctx, `INSERT INTO tail (readings, block, names) VALUES (?, ?, (SELECT json_group_array(json_array(series.id, run.id,
			run.name, probe, step, quantity, place_from, place_to, unit, meter, form, scale)) FROM series JOIN run ON run.id = series.run
			WHERE series.id IN (SELECT value FROM json_each(?))))`, n, block, string(numbers))
	}
	return err
}

// TailSize returns how many commits and readings the tail holds.
func TailSize(ctx context.Context, tx *sql.Tx) (commits, readings int, err error) {
	err = tx.QueryRowContext(ctx, "SELECT count(*), coalesce(sum(readings), 0) FROM tail").Scan(&commits, &readings)
	return commits, readings, err
}

// TailContent is the decoded content of the tail.
type TailContent struct {
	Sections []chunk.Section // in the order of their series, and within each of their times
	Damaged  []int64         // numbers of commits that cannot be read, and are left out
	Lost     int64           // readings in those, as far as known
	Orphans  int64           // readings of series that are lost, which are left out
}

// maxTail is the largest number of readings that are read from the tail. A writer never leaves
// more.
const maxTail = 1<<16 + chunk.MaxInBatch

// Tail returns the readings of the tail that belong to the wanted series (nil = all).
func Tail(ctx context.Context, tx *sql.Tx, wanted func(series int64) bool) (rest TailContent, err error) {
	var any bool
	if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM tail)").Scan(&any); err != nil || !any {
		return rest, err
	}
	identities, err := Identities(ctx, tx)
	if err != nil && !Broken(err) {
		return rest, err
	}
	rows, err := tx.QueryContext(ctx, "SELECT id, readings, block FROM tail ORDER BY id")
	if err != nil {
		return rest, err
	}
	defer rows.Close()
	all := map[int64]*chunk.Section{}
	var batch chunk.Batch
	last, held := int64(-1), 0
	for rows.Next() {
		var id int64
		var n int
		var block sql.RawBytes
		if err := rows.Scan(&id, &n, &block); err != nil {
			return TailContent{}, err
		}
		if id <= last { // damaged pages that refer back would be read endlessly
			return TailContent{}, chunk.ErrDamaged
		}
		last = id
		if n < 1 || n > chunk.MaxInBatch || held+n > maxTail { // no writer leaves so much
			rest.Damaged = append(rest.Damaged, id)
			continue
		}
		held += n
		orphans := int64(n)
		err := batch.Decode(block, n, func(series int64) (uint64, bool) {
			identity, known := identities[series]
			return identity, known
		}, func(series int64) bool {
			_, known := identities[series]
			return known
		}, func(s chunk.Section) error {
			orphans -= int64(len(s.Records))
			if wanted != nil && !wanted(s.Series) {
				return nil
			}
			held := all[s.Series]
			if held == nil {
				held = &chunk.Section{Series: s.Series, Identity: s.Identity, Texts: s.Texts}
				all[s.Series] = held
			}
			held.Records = append(held.Records, s.Records...)
			return nil
		})
		if err != nil {
			rest.Damaged = append(rest.Damaged, id)
			rest.Lost += int64(n)
		} else {
			rest.Orphans += orphans
		}
	}
	for _, s := range all {
		SortByTime(s.Records)
		rest.Sections = append(rest.Sections, *s)
	}
	slices.SortFunc(rest.Sections, func(a, b chunk.Section) int { return cmp.Compare(a.Series, b.Series) })
	return rest, rows.Err()
}

// Fold moves the tail into chunks, together with further sections in the same order. Damaged
// commits stay in the tail. Readings of a missing series are damage too, because a writer would
// continue to add to them.
func Fold(ctx context.Context, tx *sql.Tx, more []chunk.Section) error {
	rest, err := Tail(ctx, tx, nil)
	if err == nil && rest.Orphans > 0 {
		err = fmt.Errorf("%w: the series of %d readings is lost", chunk.ErrDamaged, rest.Orphans)
	}
	if err != nil {
		return err
	}
	if err := Insert(ctx, tx, rest.Sections); err != nil {
		return err
	}
	if err := Insert(ctx, tx, more); err != nil {
		return err
	}
	kept, err := json.Marshal(rest.Damaged) // null if there are none
	if err == nil {
		_, err = tx.ExecContext(ctx, "DELETE FROM tail WHERE id NOT IN (SELECT value FROM json_each(?) WHERE value IS NOT NULL)", string(kept))
	}
	return err
}
