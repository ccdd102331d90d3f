package postgres

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io"
	"log"

	"github.com/golang-migrate/migrate/v4"
	"github.com/golang-migrate/migrate/v4/database"
	"github.com/golang-migrate/migrate/v4/source/iofs"

	"ohmkeep/internal/fault"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Version is the number of the newest migration.
const Version = 3

// Migrate brings the schema to this program's version, in one transaction: a program that is killed
// meanwhile leaves the schema as it was. It returns an error if the schema is newer.
func (db *DB) Migrate(ctx context.Context) error {
	version, err := db.version(ctx)
	switch {
	case err != nil || version == Version:
		return err
	case version > Version:
		return fault.Fault{Text: fmt.Sprintf("the central database has schema %d, this program knows %d", version, Version),
			Hint: "use the newer version of the program"}
	}
	files, err := iofs.New(migrations, "migrations")
	if err != nil {
		return err
	}
	m, err := migrate.NewWithInstance("migrations", files, "postgres", &driver{ctx: ctx, db: db})
	if err != nil {
		return err
	}
	m.Log = silent{log.New(io.Discard, "", 0)}
	err = m.Up()
	if errors.Is(err, migrate.ErrNoChange) {
		err = nil
	}
	if Code(err) == "42501" { // PostgreSQL, appendix A: insufficient privilege
		return fault.Fault{Text: fmt.Sprintf("the central database has schema %d, and this role may not bring it to %d", version, Version),
			Hint: "its owner does: ohmkeep fleet --db URL"}
	}
	return err
}

// version returns the number of the migration that the database has; 0 = none.
func (db *DB) version(ctx context.Context) (int, error) {
	row, found, err := db.One(ctx, "SELECT to_regclass('ohmkeep.migration') IS NOT NULL")
	if err != nil || !found || !row.True(0) {
		return 0, err
	}
	row, found, err = db.One(ctx, "SELECT version FROM ohmkeep.migration")
	if err != nil || !found {
		return 0, err
	}
	return int(row.Int(0)), nil
}

// driver is a migrate driver over the connection. Lock begins a transaction and Unlock ends it, so
// that all migrations are applied or none.
type driver struct {
	ctx    context.Context
	db     *DB
	failed bool
}

// migrationLock is the number of the advisory lock that migrations hold; it spells "OHMK".
const migrationLock = 0x4f484d4b

func (d *driver) Open(string) (database.Driver, error) { return d, nil }
func (d *driver) Close() error                         { return nil }

func (d *driver) Lock() error {
	return d.try(fmt.Sprintf(`BEGIN; SELECT pg_advisory_xact_lock(%d); CREATE SCHEMA IF NOT EXISTS ohmkeep;
		CREATE TABLE IF NOT EXISTS ohmkeep.migration (version integer NOT NULL); GRANT USAGE ON SCHEMA ohmkeep TO PUBLIC;
		GRANT SELECT ON ohmkeep.migration TO PUBLIC`, migrationLock))
}

func (d *driver) Unlock() error {
	if d.failed {
		return d.db.Script(context.WithoutCancel(d.ctx), "ROLLBACK")
	}
	return d.try("COMMIT")
}

// try runs statements and remembers a failure.
func (d *driver) try(sql string) error {
	err := d.db.Script(d.ctx, sql)
	d.failed = d.failed || err != nil
	return err
}

func (d *driver) Run(migration io.Reader) error {
	text, err := io.ReadAll(migration)
	if err != nil {
		return err
	}
	return d.try(string(text))
}

// SetVersion is called before and after a migration; only a complete one is seen outside.
func (d *driver) SetVersion(version int, dirty bool) error {
	return d.try(fmt.Sprintf("DELETE FROM ohmkeep.migration; INSERT INTO ohmkeep.migration (version) VALUES (%d)", version))
}

func (d *driver) Version() (int, bool, error) {
	version, err := d.db.version(d.ctx)
	if version == 0 {
		version = database.NilVersion
	}
	return version, false, err
}

func (d *driver) Drop() error {
	return errors.New("the central database is not dropped by a migration")
}

// silent discards what the library logs.
type silent struct{ *log.Logger }

func (silent) Verbose() bool { return false }
