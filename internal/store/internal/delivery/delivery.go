// Package delivery keeps in a store what of a run has arrived at other databases.
//
// A cursor has two moments: readings before arrived have arrived, and readings that are added
// before claimed are noted in late. While readings are sent, claimed is the end of time, so that a
// reading that is added meanwhile is never overlooked, wherever its date lies. Afterwards arrived
// is the end of what was sent, or late if that is earlier. Two programs may send to a destination at
// once: only the one that began last moves the cursor, because late is of its turn.
//
// Stored readings that change (withdrawn, moved, corrected) make a revision with a period. They
// are sent again under its number, so that a receiver that may only append can replace them.
//
// The tables are made when a store is first shipped; before that, nothing is noted. All functions
// work within a transaction of the caller and return errors of SQLite unchanged.
package delivery

import (
	"context"
	"crypto/rand"
	"database/sql"
	_ "embed" // schema.sql
	"encoding/hex"
	"errors"
	"math"
	"time"
)

// Schema makes the tables.
//
//go:embed schema.sql
var Schema string

// End is after all moments.
const End = math.MaxInt64

// Exists reports whether the store has the tables.
func Exists(ctx context.Context, tx *sql.Tx) (bool, error) { return has(ctx, tx, "delivery") }

// Identity returns the name by which other databases tell the store from others; "" = it has none yet.
func Identity(ctx context.Context, tx *sql.Tx) (name string, err error) {
	if made, err := has(ctx, tx, "identity"); err != nil || !made {
		return "", err
	}
	err = tx.QueryRowContext(ctx, "SELECT coalesce(max(name), '') FROM identity").Scan(&name)
	return name, err
}

// Confirmed returns the newest turn that a destination has confirmed; 0 = none.
func Confirmed(ctx context.Context, tx *sql.Tx, runName, destination string) (turn int64, err error) {
	if made, err := has(ctx, tx, "confirmed"); err != nil || !made {
		return 0, err
	}
	err = tx.QueryRowContext(ctx, "SELECT coalesce(max(turn), 0) FROM confirmed JOIN run ON run.id = run WHERE name = ? AND destination = ?", runName, destination).Scan(&turn)
	return turn, err
}

// has reports whether the store has a table.
func has(ctx context.Context, tx *sql.Tx, table string) (exists bool, err error) {
	err = tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM sqlite_schema WHERE name = ?)", table).Scan(&exists)
	return exists, err
}

// Identify gives the store an identity if it has none.
func Identify(ctx context.Context, tx *sql.Tx, now time.Time) error {
	if _, err := tx.ExecContext(ctx, Schema); err != nil {
		return err
	}
	random := make([]byte, 16)
	_, _ = rand.Read(random) // it never fails
	_, err := tx.ExecContext(ctx, "INSERT INTO identity VALUES (1, ?, ?) ON CONFLICT DO NOTHING", hex.EncodeToString(random), now.UTC().Format(time.RFC3339))
	return err
}

// Added notes that readings of a run were added, the earliest of them at a moment (ns since 1970).
func Added(ctx context.Context, tx *sql.Tx, runID, first int64) error {
	exists, err := Exists(ctx, tx)
	if err != nil || !exists {
		return err
	}
	_, err = tx.ExecContext(ctx, "UPDATE delivery SET late = ?2 WHERE run = ?1 AND ?2 < claimed AND ?2 < late", runID, first)
	return err
}

// epoch is the beginning of revisions' numbers, s since 1970.
var epoch = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC).Unix()

// Changed notes that readings of a run from a first to a last moment were changed, or with
// first after last that marks were.
func Changed(ctx context.Context, tx *sql.Tx, runID, first, last int64, now time.Time) error {
	exists, err := Exists(ctx, tx)
	if err != nil || !exists {
		return err
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO revision (id, run, first, last)
		VALUES (max(?, (SELECT coalesce(max(id), 0) + 1 FROM revision)), ?, ?, ?)`, now.Unix()-epoch, runID, first, last); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "UPDATE delivery SET marks = 0 WHERE run = ?", runID); err != nil || first > last {
		return err
	}
	_, err = tx.ExecContext(ctx, "UPDATE delivery SET late = min(late, ?2) WHERE run = ?1", runID, first)
	return err
}

// Cursor is what of a run has arrived.
type Cursor struct {
	Arrived  int64 // ns since 1970: readings before it have arrived
	Marks    int64 // highest number of a mark that has arrived
	Revision int64 // newest revision that has arrived
	Turn     int64 // counts calls of Begin
}

// Begin returns the cursor of a destination, and claims all moments for it until Finish is called.
// had is the newest turn that the destination has had; 0 = none, or it does not say. If it lost what it
// had confirmed, the cursor is at the beginning.
func Begin(ctx context.Context, tx *sql.Tx, runID int64, destination string, had int64, lost bool) (c Cursor, err error) {
	if _, err := tx.ExecContext(ctx, Schema); err != nil {
		return c, err
	}
	err = tx.QueryRowContext(ctx, `INSERT INTO delivery (destination, run, arrived, claimed, late, marks, revision, turn)
		VALUES (?1, ?2, ?3, ?4, ?4, 0, 0, ?5 + 1)
		ON CONFLICT DO UPDATE SET arrived = min(arrived, late), claimed = ?4, late = ?4, turn = max(turn, ?5) + 1
		RETURNING arrived, marks, revision, turn`, destination, runID, int64(math.MinInt64), int64(End), had).Scan(&c.Arrived, &c.Marks, &c.Revision, &c.Turn)
	if err != nil || !lost {
		return c, err
	}
	c = Cursor{Arrived: math.MinInt64, Turn: c.Turn}
	_, err = tx.ExecContext(ctx, "UPDATE delivery SET arrived = ?, marks = 0, revision = 0 WHERE destination = ? AND run = ?", c.Arrived, destination, runID)
	return c, err
}

// Finish records that everything before the cursor's moments has arrived. What was added or
// changed since Begin is sent next time. After another Begin for the destination it records nothing: that one
// sends everything again.
func Finish(ctx context.Context, tx *sql.Tx, runID int64, destination string, c Cursor) error {
	moved, err := tx.ExecContext(ctx, `UPDATE delivery SET arrived = min(?3, late), claimed = min(?3, late), late = ?6,
		marks = CASE WHEN (SELECT coalesce(max(id), 0) FROM revision WHERE run = ?2) > ?5 THEN 0 ELSE ?4 END, revision = ?5
		WHERE destination = ?1 AND run = ?2 AND turn = ?7`, destination, runID, c.Arrived, c.Marks, c.Revision, int64(End), c.Turn)
	if err != nil {
		return err
	}
	if n, err := moved.RowsAffected(); err != nil || n == 0 {
		return err
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO confirmed VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET turn = excluded.turn", destination, runID, c.Turn)
	return err
}

// Adopt adds revisions of a run that a destination has. Where the store lacks one it was restored
// from a backup, and what it sends of that period has to count there.
func Adopt(ctx context.Context, tx *sql.Tx, runID int64, all []Revision) error {
	for _, r := range all {
		if _, err := tx.ExecContext(ctx, "INSERT INTO revision (id, run, first, last) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING", r.ID, runID, r.First, r.Last); err != nil {
			return err
		}
	}
	return nil
}

// Revision is a change of stored readings.
type Revision struct {
	ID          int64
	First, Last int64 // ns since 1970; First after Last = of marks alone
}

// Revisions returns the revisions of a run in the order of their numbers.
func Revisions(ctx context.Context, tx *sql.Tx, runID int64) (all []Revision, err error) {
	exists, err := Exists(ctx, tx)
	if err != nil || !exists {
		return nil, err
	}
	rows, err := tx.QueryContext(ctx, "SELECT id, first, last FROM revision WHERE run = ? ORDER BY id", runID)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var r Revision
		if err := rows.Scan(&r.ID, &r.First, &r.Last); err != nil {
			return nil, err
		}
		all = append(all, r)
	}
	return all, rows.Err()
}
