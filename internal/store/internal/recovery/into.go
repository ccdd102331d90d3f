package recovery

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/pages"
	"ohmkeep/internal/store/internal/tables"
)

// writeTo writes the salvaged readings to an empty store.
func (s *salvage) writeTo(ctx context.Context, src pages.Source, tx *sql.Tx) error {
	for _, n := range s.names {
		if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO run (id, name) VALUES (?, ?)", n.key.Run, n.run); err != nil {
			return err
		}
	}
	for id, names := range s.runs { // runs without readings too
		if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO run (id, name) VALUES (?, ?)", id, names[0]); err != nil {
			return err
		}
	}
	for _, id := range slices.Sorted(maps.Keys(s.names)) {
		k := s.names[id].key
		if _, err := tx.ExecContext(ctx, `INSERT OR IGNORE INTO series
			(id, run, probe, step, quantity, place_from, place_to, unit, meter, form, scale, corrected) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			id, k.Run, k.Probe, k.Step, k.Quantity.String(), k.From, k.To, k.Unit, k.Meter, k.Form, k.Scale, s.correction(id)); err != nil {
			return err
		}
	}
	if err := s.writeCopied(ctx, tx); err != nil {
		return err
	}
	if err := s.writeChunks(ctx, src, tx); err != nil {
		return err
	}
	if err := s.writeRest(ctx, tx); err != nil {
		return err
	}
	return s.reserveNumbers(ctx, tx)
}

func (s *salvage) correction(id int64) any {
	if text, ok := s.corrected[id]; ok {
		return text
	}
	return nil
}

// writeCopied writes the rows that are copied unchanged, where the rows that they refer to exist.
func (s *salvage) writeCopied(ctx context.Context, tx *sql.Tx) error {
	const ofRun, ofSeries = " WHERE ?1 IN (SELECT id FROM run)", " WHERE ?1 IN (SELECT id FROM series)"
	for _, t := range []struct{ table, columns, where string }{
		{"source", "run, name", ofRun},
		{"boot", "id, name, first", " WHERE TRUE"},
		{"mark", "run, at, zone, kind, subject, text, withdrawn", ofRun},
		{"state", "run, name, version, block", ofRun},
		{"revision", "id, run, first, last", " WHERE ?2 IN (SELECT id FROM run)"},
		{"identity", "id, name, made", " WHERE ?1 = 1"},
		{"hourly", "series, hour, n, lowest, mean, highest", ofSeries},
	} {
		if (t.table == "revision" || t.table == "identity") && len(s.rows[t.table]) > 0 {
			if _, err := tx.ExecContext(ctx, delivery.Schema); err != nil {
				return err
			}
		}
		for _, row := range s.rows[t.table] {
			places := "?1"
			for i := range row[1:] {
				places += fmt.Sprintf(", ?%d", i+2)
			}
			if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO "+t.table+" ("+t.columns+") SELECT "+places+t.where, row...); err != nil {
				return err
			}
		}
	}
	return nil
}

// writeChunks copies chunks unchanged.
func (s *salvage) writeChunks(ctx context.Context, src pages.Source, tx *sql.Tx) error {
	type one struct {
		series int64
		wholeChunk
	}
	var all []one
	for id, w := range s.whole {
		for _, c := range w.chunks {
			all = append(all, one{id, c})
		}
		if err := tables.AddCount(ctx, tx, id, int(w.held)); err != nil {
			return err
		}
	}
	// Chunks that share their moments are written together, and all in about their old order.
	slices.SortFunc(all, func(a, b one) int {
		return cmp.Or(cmp.Compare(a.Moments, b.Moments), cmp.Compare(a.moments.Page, b.moments.Page),
			cmp.Compare(a.moments.Cell, b.moments.Cell), cmp.Compare(a.ID, b.ID))
	})
	add, err := tx.PrepareContext(ctx, `INSERT INTO chunk (series, first, last, n, measured, lowest, highest, sum, moments, block, name)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`)
	if err != nil {
		return err
	}
	defer add.Close()
	r := pages.NewReader(src)
	var at pages.Place
	var moments int64
	for i, c := range all {
		if i == 0 || c.moments != at {
			at = c.moments
			row, ok := r.Row(at)
			if !ok {
				return errChanged
			}
			if err := tx.QueryRowContext(ctx, "INSERT INTO moments (block) VALUES (?) RETURNING id", row.Values[1]).Scan(&moments); err != nil {
				return err
			}
		}
		row, ok := r.Row(c.at)
		if !ok {
			return errChanged
		}
		v := row.Values
		if _, err := add.ExecContext(ctx, c.series, v[2], v[3], v[4], v[5], v[6], v[7], v[8], moments, v[10], v[11]); err != nil {
			return err
		}
	}
	return nil
}

var errChanged = errors.New("the damaged file has changed while it was read")

// writeRest inserts the readings that are not in undamaged chunks: those of the tail, and those of
// old versions of chunks.
func (s *salvage) writeRest(ctx context.Context, tx *sql.Tx) error {
	in, err := tables.NewInserter(ctx, tx)
	if err != nil {
		return err
	}
	for _, id := range slices.Sorted(maps.Keys(s.whole)) {
		for _, x := range s.whole[id].more {
			tables.SortByTime(x.Records)
			if !s.noDeleted {
				if x.Records, err = tables.NotInChunks(ctx, tx, x); err != nil {
					return errors.Join(err, in.Close(ctx))
				}
			}
			if err := in.Insert(ctx, []chunk.Section{x}); err != nil {
				return errors.Join(err, in.Close(ctx))
			}
		}
	}
	return in.Close(ctx)
}

// reserveNumbers makes sure that no number is used again: a part of the damaged file may still refer
// to it.
func (s *salvage) reserveNumbers(ctx context.Context, tx *sql.Tx) error {
	for table, id := range map[string]int64{"run": s.highest.run, "series": s.highest.series, "boot": s.highest.boot} {
		for _, text := range []string{
			"UPDATE sqlite_sequence SET seq = max(seq, ?2) WHERE name = ?1",
			"INSERT INTO sqlite_sequence (name, seq) SELECT ?1, ?2 WHERE ?1 NOT IN (SELECT name FROM sqlite_sequence)",
		} {
			if _, err := tx.ExecContext(ctx, text, table, min(id, maxNumber)); err != nil {
				return err
			}
		}
	}
	return nil
}

// maxNumber is the largest number that is accepted, so that a damaged one does not use up the
// range.
const maxNumber = 1 << 48
