package postgres

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
)

// encrypt removes the attempts to connect to another machine without TLS, which PostgreSQL's default
// (sslmode=prefer) makes when the one with TLS fails: a person who can disturb the first attempt could
// read the second one, and pose as the server. An address that says sslmode=disable has no other
// attempt and stays as it is: there a person has decided, such as for a tunnel.
func encrypt(c *pgconn.Config) {
	plain := func(f *pgconn.FallbackConfig) bool { return f.TLSConfig == nil && !local(f.Host) }
	encrypted := slices.DeleteFunc(slices.Clone(c.Fallbacks), plain)
	if c.TLSConfig == nil && !local(c.Host) {
		if len(encrypted) == 0 {
			return
		}
		first := encrypted[0] // sslmode=allow: TLS is the second attempt
		c.Host, c.Port, c.TLSConfig, encrypted = first.Host, first.Port, first.TLSConfig, encrypted[1:]
	}
	c.Fallbacks = encrypted
}

// local reports whether a host is this machine: a folder of a socket, a name or address of loopback.
func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "" || strings.HasPrefix(host, "/") || strings.HasPrefix(host, "@") || host == "localhost" || strings.HasSuffix(host, ".localhost") || ip != nil && ip.IsLoopback()
}

// Warning says what others can do with a connection to another machine; "" = nothing, or the address
// is wrong.
func Warning(address string) string {
	c, err := parse(address)
	switch {
	case err != nil || local(c.Host):
	case c.TLSConfig == nil:
		return "the connection to " + c.Host + " is not encrypted: what is sent can be read and changed on the way; sslmode=verify-full prevents that"
	case !checked(c.TLSConfig):
		return "the certificate of " + c.Host + " is not checked, so another machine could pose as it; sslmode=verify-full and sslrootcert=FILE in the address prevent that"
	}
	return ""
}

// checked reports whether the server's certificate is checked. pgconn checks that of sslmode=verify-ca
// by a function of its own.
func checked(c *tls.Config) bool { return !c.InsecureSkipVerify || c.VerifyPeerCertificate != nil }

// certificateFault says why a connection could not be encrypted; "" = for no reason of this kind.
func certificateFault(host string, err error) (text, hint string) {
	if name, ok := errors.AsType[x509.HostnameError](err); ok {
		return fmt.Sprintf("the server's certificate is for %s, and not for %s", strings.Join(names(name.Certificate), ", "), host), "the address names the server as its certificate does"
	}
	if _, ok := errors.AsType[x509.UnknownAuthorityError](err); ok {
		return "the server's certificate is of an authority that is not trusted", "sslrootcert=FILE in the address names the authority's own certificate"
	}
	if invalid, ok := errors.AsType[x509.CertificateInvalidError](err); ok {
		if invalid.Reason == x509.Expired {
			return "the server's certificate is valid from " + invalid.Cert.NotBefore.UTC().Format("2006-01-02 15:04") + " to " + invalid.Cert.NotAfter.UTC().Format("2006-01-02 15:04") + " UTC", "is it to be renewed, or is this machine's clock wrong?"
		}
		return "the server's certificate is not valid: " + invalid.Error(), ""
	}
	if text := err.Error(); strings.Contains(text, "server refused TLS") {
		return "the server does not encrypt", "ssl = on in postgresql.conf, with ssl_cert_file and ssl_key_file"
	} else if strings.Contains(text, "tls: ") || strings.Contains(text, "x509: ") {
		return "the connection cannot be encrypted", "see sslmode and sslrootcert in the manual of PostgreSQL"
	}
	return "", ""
}

// names returns the names and addresses that a certificate is for.
func names(c *x509.Certificate) []string {
	all := slices.Clone(c.DNSNames)
	for _, ip := range c.IPAddresses {
		all = append(all, ip.String())
	}
	if len(all) == 0 {
		all = []string{"no name"}
	}
	return all
}
