package postgres

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
)

func check(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// With sslmode=verify-full the server's certificate has to be of the authority that the address names,
// for the host, and of today. With the right one a role is still asked for its password, and for its
// own alone.
func TestCertificates(t *testing.T) {
	server := centraltest.Start(t)
	server.Database("ohmkeep")
	ours, foreign := centraltest.NewAuthority(t, "an authority of the test"), centraltest.NewAuthority(t, "another authority of the test")
	next := time.Now().AddDate(0, 6, 0)
	full := func(a *centraltest.Authority) string {
		return strings.Replace(server.URL("north", "ohmkeep"), "127.0.0.1", "localhost", 1) + "?sslmode=verify-full&sslrootcert=" + a.File
	}
	passwords := map[string]string{}
	for _, role := range []string{"north", "south"} {
		passwords[role] = filepath.Join(t.TempDir(), role)
		check(t, os.WriteFile(passwords[role], []byte("the password of "+role+"\n"), 0o600))
		if out, err := server.SQL("owner", "postgres", "CREATE ROLE "+role+" LOGIN PASSWORD 'the password of "+role+"'"); err != nil {
			t.Fatal(out)
		}
	}
	server.Allow("hostssl all north,south all scram-sha-256\nhost all north,south all reject\n")
	with := func(address, password string) (*DB, error) {
		return Connect(t.Context(), address, Options{PasswordFile: passwords[password]})
	}
	fails := func(what string, err error, words string) {
		t.Helper()
		if err == nil || !strings.Contains(err.Error(), words) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", what, err)
		}
	}

	_, err := with(full(ours), "north")
	fails("a server without TLS", err, "the server does not encrypt")
	right := func() { server.Encrypt(ours.Issue("localhost", next)) }
	right()
	db, err := with(full(ours), "north")
	check(t, err)
	row, _, err := db.One(t.Context(), "SELECT ssl, version FROM pg_stat_ssl WHERE pid = pg_backend_pid()")
	if check(t, err); !row.True(0) || row.Text(1) != "TLSv1.3" {
		t.Errorf("encrypted: %s, by %s", row[0], row[1])
	}
	check(t, db.Close())

	_, err = with(full(foreign), "north")
	fails("a foreign authority", err, "of an authority that is not trusted")
	_, err = with(strings.Replace(full(ours), "localhost", "127.0.0.1", 1), "north")
	fails("another name in the address", err, "is for localhost, and not for 127.0.0.1")
	_, err = with(full(ours), "south")
	fails("the password of another role", err, "password authentication failed")
	_, err = Connect(t.Context(), full(ours), Options{})
	fails("no password", err, "password authentication failed")
	_, err = with(server.URL("north", "ohmkeep")+"?sslmode=disable", "north")
	fails("without TLS", err, "pg_hba.conf rejects connection")

	server.Encrypt(ours.Issue("other.example", next))
	_, err = with(full(ours), "north")
	fails("a certificate for another server", err, "is for other.example, and not for localhost")
	server.Encrypt(ours.Issue("localhost", time.Now().Add(-time.Hour)))
	_, err = with(full(ours), "north")
	fails("a certificate of the past", err, "the server's certificate is valid from")
	server.Encrypt(foreign.Issue("localhost", next))
	_, err = with(full(ours), "north")
	fails("a certificate of a foreign authority", err, "of an authority that is not trusted")

	right() // renewed
	db, err = with(full(ours), "north")
	check(t, err)
	check(t, db.Close())
}

// A connection to another machine is never plain unless its address says so, whatever the server offers.
func TestNotPlainToAnotherMachine(t *testing.T) {
	server := centraltest.Start(t)
	server.Database("ohmkeep")
	far := func(more string) error { // the server under a name that is not this machine's
		t.Helper()
		address := strings.Replace(server.URL("owner", "ohmkeep"), "127.0.0.1", "central.example", 1) + more
		c, err := parse(address)
		check(t, err)
		c.LookupFunc = func(context.Context, string) ([]string, error) { return []string{"127.0.0.1"}, nil }
		db, err := connect(t.Context(), c, address, Options{})
		if err == nil {
			check(t, db.Close())
		}
		return err
	}
	for _, mode := range []string{"", "?sslmode=prefer", "?sslmode=allow", "?sslmode=require"} {
		if err := far(mode); err == nil || !strings.Contains(err.Error(), "the server does not encrypt") {
			t.Errorf("sslmode %q to a server without TLS: %v", mode, err)
		}
	}
	check(t, far("?sslmode=disable"))
	if db, err := Connect(t.Context(), server.URL("owner", "ohmkeep"), Options{}); err != nil {
		t.Errorf("on this machine: %v", err)
	} else {
		check(t, db.Close())
	}
	server.Encrypt(centraltest.NewAuthority(t, "an authority of the test").Issue("other.example", time.Now().AddDate(1, 0, 0)))
	for _, mode := range []string{"", "?sslmode=prefer", "?sslmode=allow", "?sslmode=require"} {
		check(t, far(mode))
	}
}

// What others could do with a connection is said, unless it is on this machine or checked.
func TestWarning(t *testing.T) {
	ca := centraltest.NewAuthority(t, "an authority of the test").File
	for address, want := range map[string]string{
		"postgres://u@central.example/x":                                       "is not checked",
		"postgres://u@central.example/x?sslmode=require":                       "is not checked",
		"postgres://u@192.0.2.7/x?sslmode=prefer":                              "is not checked",
		"postgres://u@central.example/x?sslmode=disable":                       "is not encrypted",
		"postgres://u@central.example/x?sslmode=verify-full":                   "",
		"postgres://u@central.example/x?sslmode=verify-full&sslrootcert=" + ca: "",
		"postgres://u@central.example/x?sslmode=verify-ca&sslrootcert=" + ca:   "",
		"postgres://u@localhost/x":                                             "",
		"postgres://u@127.0.0.1:5433/x?sslmode=disable":                        "",
		"postgres://u@[::1]/x":                                                 "",
		"postgres:///x?host=/run/postgresql":                                   "",
		"postgres://u@central.example/x?sslmode=nonsense":                      "",
	} {
		if got := Warning(address); !strings.Contains(got, want) || (got == "") != (want == "") {
			t.Errorf("%s: %q", address, got)
		}
	}
	if !local(net.IPv6loopback.String()) || local("192.0.2.1") {
		t.Error("loopback and other addresses are taken for each other")
	}
}
