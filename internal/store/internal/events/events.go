// Package events holds a store's content other than readings: marks of events, starts of
// the machine, and the states of analyses.
//
// All functions work within a transaction of the caller and return errors of SQLite unchanged.
package events

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"time"
)

// Mark is an event of a run.
type Mark struct {
	Time    time.Time
	Kind    string // one of the kinds below, or what a program calls it
	Subject string // the probe or joint concerned; may be ""
	Text    string // in words; may be ""
	// Withdrawn is when the mark was withdrawn; zero = it was not.
	Withdrawn time.Time
}

// Kinds of marks. A gap is marked twice: Lost when its beginning is detected, and Gap when it has
// ended.
const (
	Note    = "note"      // a note of work done: "re-made joint 2"
	Gap     = "gap"       // the subject sent nothing up to the mark's time; the text says since when
	Lost    = "lost"      // the subject sends nothing from now on; the text says why
	Restart = "restart"   // the subject was restarted; "" = the program that records
	Stop    = "stop"      // the program that records ended in good order
	Dropped = "dropped"   // readings were lost; the text says how many
	RunFile = "run"       // the run file was read again
	Boot    = "boot"      // the machine was started
	Clock   = "clock"     // the wall clock was set
	Stalled = "stalled"   // the program that records did not run for a while
	Damaged = "damaged"   // the store was damaged and replaced by a new one; the text says where the old one is
	Taken   = "withdrawn" // a reading was withdrawn; the text says which and why
	PutBack = "restored"  // a withdrawn reading was restored
	Thinned = "thinned"   // old readings were deleted; the text says which
	Redated = "redated"   // readings with a wrong date were moved; the text says which
	Walk    = "walk"      // an event of a guided walk along the run; the text holds it
)

// Add adds a mark to a run.
func Add(ctx context.Context, tx *sql.Tx, runID int64, m Mark) error {
	_, zone := m.Time.Zone()
	_, err := tx.ExecContext(ctx, "INSERT INTO mark (run, at, zone, kind, subject, text) VALUES (?, ?, ?, ?, ?, ?)",
		runID, m.Time.UnixNano(), zone, m.Kind, m.Subject, m.Text)
	return err
}

// Marks returns the marks of a run from a first to a last moment (ns since 1970) in
// the order of time. With an error it returns those that can be read from either end.
func Marks(ctx context.Context, tx *sql.Tx, runID, first, last int64) ([]Mark, error) {
	marks, known, err := readMarks(ctx, tx, "at, id", runID, first, last, nil)
	if err == nil || ctx.Err() != nil {
		return marks, err
	}
	behind, _, _ := readMarks(ctx, tx, "at DESC, id DESC", runID, first, last, known) // from the end, up to the marks known
	slices.Reverse(behind)
	return append(marks, behind...), err
}

// readMarks returns marks in an order until one is known or cannot be read.
func readMarks(ctx context.Context, tx *sql.Tx, order string, runID, first, last int64, known map[int64]bool) (marks []Mark, ids map[int64]bool, err error) {
	ids = map[int64]bool{}
	rows, err := tx.QueryContext(ctx, `SELECT id, at, zone, kind, subject, text, coalesce(withdrawn, 0) FROM mark
		WHERE run = ? AND at BETWEEN ? AND ? ORDER BY `+order, runID, first, last)
	if err != nil {
		return nil, ids, err
	}
	defer rows.Close()
	for rows.Next() {
		m, id, err := scanMark(rows)
		if err != nil {
			return marks, ids, err
		}
		if known[id] {
			break
		}
		marks, ids[id] = append(marks, m), true
	}
	return marks, ids, rows.Err()
}

// Newest returns the newest marks of a run that were not withdrawn, at most so many, the newest
// first: those of a kind where kind is not "", and none of the kind without. With an error it
// returns those that were read before it.
func Newest(ctx context.Context, tx *sql.Tx, runID int64, kind, without string, most int) (marks []Mark, err error) {
	rows, err := tx.QueryContext(ctx, `SELECT id, at, zone, kind, subject, text, coalesce(withdrawn, 0) FROM mark
		WHERE run = ?1 AND (?2 = '' OR kind = ?2) AND kind <> ?3 AND withdrawn IS NULL ORDER BY at DESC, id DESC LIMIT ?4`, runID, kind, without, most)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		m, _, err := scanMark(rows)
		if err != nil {
			return marks, err
		}
		marks = append(marks, m)
	}
	return marks, rows.Err()
}

// Move moves the marks of a run from a first to a last moment (ns since 1970) in time.
func Move(ctx context.Context, tx *sql.Tx, runID, first, last, by int64) error {
	_, err := tx.ExecContext(ctx, "UPDATE mark SET at = at + ? WHERE run = ? AND at BETWEEN ? AND ?", by, runID, first, last)
	return err
}

// Withdraw withdraws the newest mark of a kind and text; if at is not 0, the newest one of
// that moment. found is false if there is no such mark or it was withdrawn before.
func Withdraw(ctx context.Context, tx *sql.Tx, runID int64, kind, text string, at, now int64) (found bool, err error) {
	result, err := tx.ExecContext(ctx, `UPDATE mark SET withdrawn = ?5 WHERE id = (SELECT id FROM mark WHERE run = ?1 AND kind = ?2
		AND text = ?3 AND (?4 = 0 OR at = ?4) AND withdrawn IS NULL ORDER BY at DESC, id DESC LIMIT 1)`, runID, kind, text, at, now)
	if err != nil {
		return false, err
	}
	n, err := result.RowsAffected()
	return n > 0, err
}

// Count returns how many marks of a kind a run has.
func Count(ctx context.Context, tx *sql.Tx, runID int64, kind string) (n int, err error) {
	err = tx.QueryRowContext(ctx, "SELECT count(*) FROM mark WHERE run = ? AND kind = ?", runID, kind).Scan(&n)
	return n, err
}

// Start is a start of the machine.
type Start struct {
	ID    int       // number of the start in samples
	Name  string    // the kernel's boot id
	First time.Time // wall clock in UTC when it was first stored
}

// EnsureStart returns the number of a start of the machine and stores it if it is new.
func EnsureStart(ctx context.Context, tx *sql.Tx, name string, at time.Time) (id int, err error) {
	err = tx.QueryRowContext(ctx, "SELECT id FROM boot WHERE name = ?", name).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	err = tx.QueryRowContext(ctx, "INSERT INTO boot (name, first) VALUES (?, ?) RETURNING id", name, at.UnixNano()).Scan(&id)
	return id, err
}

// Starts returns the starts of the machine in their order.
func Starts(ctx context.Context, tx *sql.Tx) ([]Start, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, name, first FROM boot ORDER BY id")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var starts []Start
	for rows.Next() {
		var s Start
		var at int64
		if err := rows.Scan(&s.ID, &s.Name, &at); err != nil {
			return nil, err
		}
		s.First = time.Unix(0, at).UTC()
		starts = append(starts, s)
	}
	return starts, rows.Err()
}

// SetState stores bytes under a name and replaces earlier ones.
func SetState(ctx context.Context, tx *sql.Tx, runID int64, name string, version int, data []byte) error {
	if data == nil {
		data = []byte{}
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO state (run, name, version, block) VALUES (?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET version = excluded.version, block = excluded.block`, runID, name, version, data)
	return err
}

// DropStates deletes the states of analyses of a run, so that they are computed again from
// the readings.
func DropStates(ctx context.Context, tx *sql.Tx, runID int64) error {
	_, err := tx.ExecContext(ctx, "DELETE FROM state WHERE run = ?", runID)
	return err
}

// State returns the state stored under a name; ok is false if there is none.
func State(ctx context.Context, tx *sql.Tx, runID int64, name string) (version int, data []byte, ok bool, err error) {
	err = tx.QueryRowContext(ctx, "SELECT version, block FROM state WHERE run = ? AND name = ?", runID, name).Scan(&version, &data)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil, false, nil
	}
	return version, data, err == nil, err
}

// After returns the marks of a run with a number above after, in the order of their numbers, and the
// highest of these.
func After(ctx context.Context, tx *sql.Tx, runID, after int64) (marks []Mark, highest int64, err error) {
	highest = after
	rows, err := tx.QueryContext(ctx, "SELECT id, at, zone, kind, subject, text, coalesce(withdrawn, 0) FROM mark WHERE run = ? AND id > ? ORDER BY id", runID, after)
	if err != nil {
		return nil, after, err
	}
	defer rows.Close()
	for rows.Next() {
		m, id, err := scanMark(rows)
		if err != nil {
			return nil, after, err
		}
		marks, highest = append(marks, m), id
	}
	return marks, highest, rows.Err()
}

// scanMark reads a row of a mark.
func scanMark(rows *sql.Rows) (m Mark, id int64, err error) {
	var at, withdrawn int64
	var zone int
	if err := rows.Scan(&id, &at, &zone, &m.Kind, &m.Subject, &m.Text, &withdrawn); err != nil {
		return m, id, err
	}
	m.Time = time.Unix(0, at).UTC()
	if zone != 0 {
		m.Time = m.Time.In(time.FixedZone("", zone))
	}
	if withdrawn != 0 {
		m.Withdrawn = time.Unix(0, withdrawn).UTC()
	}
	return m, id, nil
}
