package store

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"time"

	"ohmkeep/internal/fault"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// migrations are the steps from an empty database to today's schema, in their
// order. The version of a schema is the number of steps it has taken. A step
// that has been released is never changed.
var migrations = func() []string {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql") // sorted
	if err != nil {
		panic(err) // the pattern is wrong
	}
	var steps []string
	for _, name := range names {
		step, err := migrationFiles.ReadFile(name)
		if err != nil {
			panic(err) // it was just listed
		}
		steps = append(steps, string(step))
	}
	return steps
}()

// applicationID marks a database as a store (SQLite, "Database File Format":
// the application ID at offset 68 of the file); the bytes spell "OHMK".
const applicationID = 0x4f484d4b

// state is what a database says of itself.
type state struct {
	application int64
	version     int
	tables      int
}

type queryer interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func look(ctx context.Context, db queryer) (s state, err error) {
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

// fresh tells whether the database holds nothing at all.
func (s state) fresh() bool { return s == state{} }

// fits tells why a database is not a store that this program can use.
func (s state) fits() error {
	switch {
	case s.application != applicationID:
		return fault.Fault{Text: "this is a database, but not a store of readings", Hint: "name the store's file"}
	case s.version > len(migrations):
		return fault.Fault{Text: fmt.Sprintf("the store has schema %d, this program knows %d", s.version, len(migrations)),
			Hint: "use the newer version of the program that made it"}
	}
	return nil
}

// inspect reads what a database says of itself over a connection of its own, in
// one transaction: another program may be making the store at this moment.
func inspect(dsn string) (s state, err error) {
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return state{}, err
	}
	defer db.Close()
	err = persist(patience, func() error {
		tx, err := db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true})
		if err != nil {
			return err
		}
		defer tx.Rollback() // it has changed nothing
		s, err = look(context.Background(), tx)
		return err
	})
	return s, err
}

// persist tries again while SQLite says that a database is busy. SQLite waits by
// itself for most locks, but not for those of another program that is turning a
// new database into one with a log.
func persist(patience time.Duration, try func() error) error {
	const pause = 5 * time.Millisecond
	for deadline := time.Now().Add(patience); ; time.Sleep(pause) {
		err := try()
		if !busy(err) || time.Now().After(deadline) {
			return err
		}
	}
}

// migrate brings a database to today's schema, each step in a transaction of its
// own. It always begins one, so that a file that cannot be written to is noticed.
func migrate(ctx context.Context, db *sql.DB) error {
	for {
		done, err := migrateStep(ctx, db)
		if done || err != nil {
			return err
		}
	}
}

// migrateStep takes one step. Where it stands is read within the transaction:
// another program may have taken the step meanwhile.
func migrateStep(ctx context.Context, db *sql.DB) (done bool, err error) {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return false, err
	}
	defer tx.Rollback() // after a commit it does nothing
	s, err := look(ctx, tx)
	if err != nil {
		return false, err
	}
	if !s.fresh() {
		if err := s.fits(); err != nil {
			return false, err
		}
	}
	if s.version == len(migrations) {
		return true, nil
	}
	mark := fmt.Sprintf("\n; PRAGMA application_id = %d; PRAGMA user_version = %d;", applicationID, s.version+1)
	if _, err := tx.ExecContext(ctx, migrations[s.version]+mark); err != nil {
		return false, fmt.Errorf("schema %d: %w", s.version+1, err)
	}
	return false, tx.Commit()
}
