package mqtt

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"path/filepath"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
)

// password returns the first line of the password's file; nil without one.
func (o Options) password() ([]byte, error) {
	if o.PasswordFile == "" {
		return nil, nil
	}
	text, err := o.read(o.PasswordFile)
	if err != nil {
		return nil, err
	}
	line, _, _ := bytes.Cut(text, []byte("\n"))
	line = bytes.TrimRight(line, "\r")
	if len(line) == 0 {
		return nil, fault.Fault{File: o.path(o.PasswordFile), Text: "has no password in its first line"}
	}
	return line, nil
}

// tls returns how a broker's certificate is checked; by the system's certificates without a file.
func (o Options) tls(host string) (*tls.Config, error) {
	c := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}
	if o.CAFile == "" {
		return c, nil
	}
	text, err := o.read(o.CAFile)
	if err != nil {
		return nil, err
	}
	c.RootCAs = x509.NewCertPool()
	if !c.RootCAs.AppendCertsFromPEM(text) {
		return nil, fault.Fault{File: o.path(o.CAFile), Text: "holds no certificate", Hint: "certificates in PEM, which begin with -----BEGIN CERTIFICATE-----"}
	}
	return c, nil
}

func (o Options) path(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(o.Dir, name)
}

func (o Options) read(name string) ([]byte, error) {
	text, err := file.Read(o.path(name), file.MaxRunFile)
	if err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	return text, nil
}
