package sqlitefile

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"

	"ohmkeep/internal/fault"
)

// errObjects is the error of a database whose tables differ from its schema.
var errObjects = errors.New("tables, views or triggers are not those of a store")

// object is a table, index, view or trigger: its kind, name and SQL text.
type object struct{ kind, name, text string }

type rowsQueryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// objects returns the tables, indexes, views and triggers of a database.
func objects(ctx context.Context, db rowsQueryer) (map[object]bool, error) {
	rows, err := db.QueryContext(ctx, "SELECT type, name, coalesce(sql, '') FROM sqlite_schema")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	all := map[object]bool{}
	for rows.Next() {
		var o object
		if err := rows.Scan(&o.kind, &o.name, &o.text); err != nil {
			return nil, err
		}
		all[o] = true
	}
	return all, rows.Err()
}

// checkObjects compares the objects of a database with those that a schema creates. A trigger or
// view that another program added would run when the file is read or written.
func checkObjects(ctx context.Context, db rowsQueryer, schema Schema) error {
	empty, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return err
	}
	defer empty.Close()
	empty.SetMaxOpenConns(1) // each connection to :memory: is a separate database
	if _, err := empty.ExecContext(ctx, schema.SQL); err != nil {
		return err
	}
	want, err := objects(ctx, empty)
	if err != nil {
		return err
	}
	if _, err := empty.ExecContext(ctx, schema.Optional); err != nil {
		return err
	}
	known, err := objects(ctx, empty)
	if err != nil {
		return err
	}
	have, err := objects(ctx, db)
	if err != nil {
		return err
	}
	maps.DeleteFunc(have, func(o object, _ bool) bool { return known[o] && !want[o] })
	if maps.Equal(want, have) {
		return nil
	}
	var other []string
	for o := range have {
		if !want[o] {
			other = append(other, fmt.Sprintf("the %s %q is not one of a store", o.kind, o.name))
		}
	}
	for o := range want {
		if !have[o] {
			other = append(other, fmt.Sprintf("the %s %q of a store is missing", o.kind, o.name))
		}
	}
	return failure{fault.Fault{Text: "the store is damaged or was tampered with: " + slices.Min(other), Hint: damaged.Hint}, errObjects}
}
