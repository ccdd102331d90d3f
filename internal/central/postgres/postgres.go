// Package postgres is the central database of a firm with many runs: the connection, and the schema
// with its numbered migrations.
//
// It uses the wire protocol of pgx (pgconn) alone, and not its types: every number of a reading is
// a text on both sides, so that none passes through a float, and the program is 3 MB smaller.
//
// Errors and addresses that are shown never contain a password.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"ohmkeep/internal/central/throttle"
	"ohmkeep/internal/fault"
)

// Options are the settings of a connection beside its URL.
type Options struct {
	PasswordFile   string // file whose first line is the password; "" = of the URL, or PGPASSFILE
	BytesPerSecond int    // most bytes a second that are sent; 0 = no limit
}

// DB is a connection to the central database. It is for one goroutine at a time.
type DB struct{ conn *pgconn.PgConn }

// IsURL reports whether a text is an address of a PostgreSQL database.
func IsURL(text string) bool {
	return strings.HasPrefix(text, "postgres://") || strings.HasPrefix(text, "postgresql://")
}

// Redact returns an address without its password.
func Redact(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return "the address"
	}
	if u.User != nil {
		u.User = url.User(u.User.Username())
	}
	if q := u.Query(); q.Has("password") || q.Has("sslpassword") {
		q.Del("password")
		q.Del("sslpassword")
		u.RawQuery = q.Encode()
	}
	return u.String()
}

// Password returns the password that an address contains; "" = none.
func Password(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return ""
	}
	password, ok := u.User.Password()
	if !ok {
		password = u.Query().Get("password")
	}
	return password
}

// connectTimeout is the time-out of a connection, and keepAlive how often an idle one is checked.
const (
	connectTimeout = 15 * time.Second
	keepAlive      = 30 * time.Second
)

// Check returns a fault if a text is not an address that Connect accepts.
func Check(address string) error {
	_, err := parse(address)
	return err
}

func parse(address string) (*pgconn.Config, error) {
	if !IsURL(address) {
		return nil, fault.Fault{Text: fmt.Sprintf("%q is not the address of a PostgreSQL database", Redact(address)), Hint: "such as postgres://user@host/ohmkeep"}
	}
	config, err := pgconn.ParseConfig(address)
	if err != nil {
		return nil, fault.Fault{Text: Redact(address) + ": the address is wrong", Hint: "such as postgres://user@host/ohmkeep?sslmode=verify-full"}
	}
	encrypt(config)
	return config, nil
}

// Connect connects to the database at a URL (postgres://USER@HOST/DATABASE; sslmode=verify-full
// checks the server's certificate). A connection to another machine is encrypted unless the address
// says sslmode=disable.
func Connect(ctx context.Context, address string, o Options) (*DB, error) {
	config, err := parse(address)
	if err != nil {
		return nil, err
	}
	return connect(ctx, config, address, o)
}

func connect(ctx context.Context, config *pgconn.Config, address string, o Options) (_ *DB, err error) {
	if o.PasswordFile != "" {
		if config.Password, err = readPassword(o.PasswordFile); err != nil {
			return nil, err
		}
	}
	dialer := &net.Dialer{Timeout: connectTimeout, KeepAlive: keepAlive}
	config.ConnectTimeout = connectTimeout
	config.DialFunc = func(ctx context.Context, network, address string) (net.Conn, error) {
		conn, err := dialer.DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		return throttle.Conn(conn, o.BytesPerSecond), nil
	}
	if config.RuntimeParams["application_name"] == "" {
		config.RuntimeParams["application_name"] = "ohmkeep"
	}
	conn, err := pgconn.ConnectConfig(ctx, config)
	if err != nil {
		return nil, connectFault(ctx, config.Host, address, err)
	}
	return &DB{conn}, nil
}

// connectFault is the error of a database that cannot be reached or refuses the role.
func connectFault(ctx context.Context, host, address string, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	text, hint := "cannot be reached", "is the server running, and does it listen there?"
	if refused, ok := errors.AsType[*pgconn.PgError](err); ok {
		text, hint = refused.Message, ""
		if refused.Code == "28P01" { // PostgreSQL, appendix A: invalid password
			hint = "--password-file FILE or PGPASSFILE names the password"
		}
	} else if why, remedy := certificateFault(host, err); why != "" {
		text, hint = why, remedy
	} else if timeout, ok := errors.AsType[net.Error](err); ok && timeout.Timeout() {
		text = "does not answer"
	} else if cause, ok := errors.AsType[*net.OpError](err); ok {
		text = "cannot be reached: " + cause.Err.Error()
	}
	return fault.Fault{Text: Redact(address) + ": " + text, Hint: hint}
}

// readPassword returns the first line of a file.
func readPassword(path string) (string, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fault.Fault{File: path, Text: fault.Cause(err).Error()}
	}
	line, _, _ := strings.Cut(string(b), "\n")
	line = strings.TrimSuffix(line, "\r")
	if line == "" {
		return "", fault.Fault{File: path, Text: "holds no password", Hint: "its first line is the password"}
	}
	return line, nil
}

// closeTimeout is the time-out of ending a connection: a watch has 0.5 s to end.
const closeTimeout = 200 * time.Millisecond

// Close closes the connection.
func (db *DB) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), closeTimeout)
	defer cancel()
	return db.conn.Close(ctx)
}
