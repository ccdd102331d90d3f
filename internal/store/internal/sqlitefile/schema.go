package sqlitefile

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"ohmkeep/internal/fault"
)

// Schema is the layout of a store.
type Schema struct {
	Application int64  // marks a database as one of ours (SQLite, "Database File Format", offset 68)
	Version     int    // of the layout; a store with another version is refused
	PageSize    int    // bytes of a page
	SQL         string // makes the tables in an empty database
	Optional    string // makes tables that a database may have beside them
}

// state is the identification in a database's header.
type state struct {
	application int64
	version     int
	tables      int
}

type queryer interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func readState(ctx context.Context, db queryer) (s state, err error) {
	for _, q := range []struct {
		query string
		into  any
	}{
		{"PRAGMA application_id", &s.application},
		{"PRAGMA user_version", &s.version},
		{"SELECT count(*) FROM sqlite_schema", &s.tables},
	} {
		if err := db.QueryRowContext(ctx, q.query).Scan(q.into); err != nil {
			return s, err
		}
	}
	return s, nil
}

// isEmpty reports whether the database has no identification and no tables.
func (s state) isEmpty() bool { return s == state{} }

// checkLayout returns an error if a database is not a store of this layout.
func (s state) checkLayout(to Schema) error {
	switch {
	case s.application != to.Application:
		return fault.Fault{Text: "this is a database, but not a store of readings", Hint: "name the store's file"}
	case s.version > to.Version:
		return fault.Fault{Text: fmt.Sprintf("the store has layout %d, this program knows %d", s.version, to.Version),
			Hint: "use the newer version of the program that made it"}
	case s.version < to.Version:
		return fault.Fault{Text: fmt.Sprintf("the store has layout %d of an earlier program, this one knows %d", s.version, to.Version),
			Hint: "export the readings with the program that made it, and import them into a new store"}
	}
	return nil
}

// inspect reads the identification of a database and checks that it is a store. It uses a separate
// connection and one transaction, because another program may be creating the store.
func inspect(dsn string, schema Schema) (s state, err error) {
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return state{}, err
	}
	defer db.Close()
	err = retryBusy(BusyTimeout, func() error {
		tx, err := db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true})
		if err != nil {
			return err
		}
		defer tx.Rollback() // it has changed nothing
		if s, err = readState(context.Background(), tx); err != nil || s.isEmpty() {
			return err
		}
		if err := s.checkLayout(schema); err != nil {
			return err
		}
		return checkObjects(context.Background(), tx, schema)
	})
	return s, err
}

// retryBusy repeats a function until SQLite does not report that the database is busy, or the time
// is over. SQLite itself waits for most locks, but not for that of another program that is
// switching a new database to write-ahead logging.
func retryBusy(timeout time.Duration, try func() error) error {
	const pause = 5 * time.Millisecond
	for deadline := time.Now().Add(timeout); ; time.Sleep(pause) {
		err := try()
		if !Busy(err) || time.Now().After(deadline) {
			return err
		}
	}
}

// createTables creates the tables in an empty database in one transaction. It always begins one,
// so that a file that cannot be written is detected. It reads the state within the transaction,
// because another program may have created the tables meanwhile.
func createTables(ctx context.Context, db *sql.DB, schema Schema) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after a commit it does nothing
	s, err := readState(ctx, tx)
	if err != nil {
		return err
	}
	if !s.isEmpty() {
		return s.checkLayout(schema)
	}
	mark := fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", schema.Application, schema.Version)
	for _, text := range []string{schema.SQL, mark} {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return err
		}
	}
	return tx.Commit()
}
