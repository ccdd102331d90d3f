package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"ohmkeep/internal/fault"
)

// Row is a row of a result: the text of each column, nil for NULL.
type Row [][]byte

// Text returns a column as a text; "" for NULL.
func (r Row) Text(i int) string { return string(r[i]) }

// Int returns a column as a whole number; 0 for NULL.
func (r Row) Int(i int) int64 {
	n, _ := strconv.ParseInt(string(r[i]), 10, 64)
	return n
}

// Float returns a column as a number; NULL gives null.
func (r Row) Float(i int, null float64) float64 {
	if r[i] == nil {
		return null
	}
	x, err := strconv.ParseFloat(string(r[i]), 64)
	if err != nil {
		return null
	}
	return x
}

// True reports whether a column is true.
func (r Row) True(i int) bool { return string(r[i]) == "t" }

// Each calls do with each row of a query, which is valid until the next one, until do returns an
// error.
func (db *DB) Each(ctx context.Context, sql string, do func(Row) error, args ...any) error {
	values, err := texts(args)
	if err != nil {
		return err
	}
	rows := db.conn.ExecParams(ctx, sql, values, nil, nil, nil)
	for rows.NextRow() {
		if err := do(Row(rows.Values())); err != nil {
			_ = db.conn.Close(ctx) // the rest of the rows is not wanted
			return err
		}
	}
	_, err = rows.Close()
	return explain(ctx, err)
}

// Exec runs a statement that returns no rows, and returns how many rows it changed.
func (db *DB) Exec(ctx context.Context, sql string, args ...any) (int64, error) {
	values, err := texts(args)
	if err != nil {
		return 0, err
	}
	tag, err := db.conn.ExecParams(ctx, sql, values, nil, nil, nil).Close()
	return tag.RowsAffected(), explain(ctx, err)
}

// Script runs several statements without parameters.
func (db *DB) Script(ctx context.Context, sql string) error {
	_, err := db.conn.Exec(ctx, sql).ReadAll()
	return explain(ctx, err)
}

// One returns the first row of a query; found is false if there is none.
func (db *DB) One(ctx context.Context, sql string, args ...any) (row Row, found bool, err error) {
	err = db.Each(ctx, sql, func(r Row) error {
		if !found {
			found = true
			for _, v := range r {
				if v != nil {
					v = append([]byte{}, v...)
				}
				row = append(row, v)
			}
		}
		return nil
	}, args...)
	return row, found, err
}

// Within calls do in a transaction, which is committed if do returns nil.
func (db *DB) Within(ctx context.Context, do func() error) error {
	return db.transaction(ctx, "BEGIN", do)
}

// Snapshot calls do in a transaction whose queries all see the database as it was at the first one.
func (db *DB) Snapshot(ctx context.Context, do func() error) error {
	return db.transaction(ctx, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", do)
}

func (db *DB) transaction(ctx context.Context, begin string, do func() error) error {
	if err := db.Script(ctx, begin); err != nil {
		return err
	}
	if err := do(); err != nil {
		undo, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer cancel()
		_ = db.Script(undo, "ROLLBACK")
		return err
	}
	return db.Script(ctx, "COMMIT")
}

// Copy copies rows in the text form of COPY into a table.
func (db *DB) Copy(ctx context.Context, sql string, rows io.Reader) error {
	_, err := db.conn.CopyFrom(ctx, rows, sql)
	return explain(ctx, err)
}

// texts converts parameters to the text form of their types.
func texts(args []any) ([][]byte, error) {
	values := make([][]byte, len(args))
	for i, arg := range args {
		switch x := arg.(type) {
		case nil:
		case string:
			values[i] = []byte(x)
		case int:
			values[i] = strconv.AppendInt(nil, int64(x), 10)
		case int64:
			values[i] = strconv.AppendInt(nil, x, 10)
		case float64:
			values[i] = strconv.AppendFloat(nil, x, 'g', -1, 64)
		case bool:
			values[i] = strconv.AppendBool(nil, x)
		case time.Time:
			values[i] = x.UTC().AppendFormat(nil, time.RFC3339Nano)
		default:
			return nil, fmt.Errorf("parameter %d: a %T is not sent", i+1, arg)
		}
	}
	return values, nil
}

// ErrLost is the error of a connection that has ended.
var ErrLost = errors.New("the connection to the database is lost")

// explain returns the error of a statement in one line.
func explain(ctx context.Context, err error) error {
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return context.Cause(ctx)
	}
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		f := refusal{fault.Fault{Text: "the database refuses: " + e.Message, Hint: e.Hint}, e.Code}
		if e.Code == "57P01" || e.Code == "57P02" || e.Code == "57P03" { // PostgreSQL, appendix A: shutting down, starting up
			return fmt.Errorf("%w: %s", ErrLost, e.Message)
		}
		return f
	}
	return fmt.Errorf("%w: %w", ErrLost, err)
}

// refusal is an error of the server, with its code of five characters.
type refusal struct {
	fault.Fault
	code string
}

func (r refusal) Unwrap() error { return r.Fault }

// Code returns the SQLSTATE of an error of the server; "" = it is none.
func Code(err error) string {
	r, _ := errors.AsType[refusal](err)
	return r.code
}

// Permanent reports whether an error will not go away by itself: the server refuses the statement.
func Permanent(err error) bool {
	switch code := Code(err); {
	case code == "":
		return false
	default: // PostgreSQL, appendix A: class 40 transaction rollback, 53 resources, 55 locks, 57 operator, 58 system
		switch code[:2] {
		case "40", "53", "55", "57", "58":
			return false
		}
	}
	return true
}
