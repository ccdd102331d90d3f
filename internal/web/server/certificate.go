package server

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
)

// maxRenewalTime is how long before its end a certificate should have been renewed; for one of
// less than eight weeks it is a quarter of its time.
const maxRenewalTime = 14 * 24 * time.Hour

// maxPEM is the largest size of a file with certificates or a key, in bytes.
const maxPEM = 1 << 20

// Certificate is a TLS certificate with its key, in two PEM files. It is read again after the
// files have changed; if the new pair is bad, the old one stays in force.
type Certificate struct {
	pair              *file.Reloaded[*tls.Certificate]
	certFile, keyFile string
}

// LoadCertificate reads a certificate and its key for the first time. The log says when they are
// read again.
func LoadCertificate(certFile, keyFile string, log *slog.Logger) (*Certificate, error) {
	reread := func(err error) {
		if err != nil {
			log.Error("the renewed certificate is refused; the old one stays in force", "why", err)
			return
		}
		log.Info("the certificate was read again", "file", certFile)
	}
	pair, err := file.NewReloaded(func() (*tls.Certificate, error) { return readPair(certFile, keyFile) }, reread, certFile, keyFile)
	if err != nil {
		return nil, err
	}
	c := &Certificate{pair, certFile, keyFile}
	for _, note := range c.Notes(time.Now()) {
		log.Warn(note)
	}
	return c, nil
}

func readPair(certFile, keyFile string) (*tls.Certificate, error) {
	cert, err := file.Read(certFile, maxPEM)
	if err != nil {
		return nil, err
	}
	key, err := file.Read(keyFile, maxPEM)
	if err != nil {
		return nil, err
	}
	pair, err := tls.X509KeyPair(cert, key) // fills Leaf
	if err != nil {
		return nil, fault.Fault{File: certFile, Text: fmt.Sprintf("is no certificate of the key in %s: %s", keyFile, strings.Replace(strings.TrimPrefix(err.Error(), "tls: "), "failed to", "cannot", 1)),
			Hint: "a certificate and its own private key, both PEM"}
	}
	return &pair, nil
}

// ReadCertificate reads the first certificate of a PEM file.
func ReadCertificate(path string) (*x509.Certificate, error) {
	content, err := file.Read(path, maxPEM)
	if err != nil {
		return nil, err
	}
	for block, rest := pem.Decode(content); block != nil; block, rest = pem.Decode(rest) {
		if block.Type != "CERTIFICATE" {
			continue
		}
		if c, err := x509.ParseCertificate(block.Bytes); err == nil {
			return c, nil
		}
	}
	return nil, fault.Fault{File: path, Text: "holds no certificate", Hint: "a PEM file that begins with -----BEGIN CERTIFICATE-----"}
}

// config returns the configuration of the server's side of TLS.
func (c *Certificate) config() *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS12,
		NextProtos: []string{"http/1.1"},
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
			pair, _ := c.pair.Value() // a bad renewal is in the log and in Notes
			return pair, nil
		},
	}
}

// Notes returns in words what is wrong with the certificate at a time.
func (c *Certificate) Notes(now time.Time) (notes []string) {
	pair, err := c.pair.Value()
	if err != nil {
		notes = append(notes, "the renewed certificate is refused, the old one stays in force: "+err.Error())
	}
	if file.OthersRead(c.keyFile) {
		notes = append(notes, "other users of this machine can read the private key in "+c.keyFile)
	}
	const day = "2006-01-02"
	switch from, until := pair.Leaf.NotBefore, pair.Leaf.NotAfter; {
	case now.Before(from):
		notes = append(notes, fmt.Sprintf("the certificate %s is valid from %s on only; browsers refuse it", c.certFile, from.UTC().Format(day)))
	case now.After(until):
		notes = append(notes, fmt.Sprintf("the certificate %s has expired on %s; browsers refuse it", c.certFile, until.UTC().Format(day)))
	case now.After(until.Add(-min(maxRenewalTime, until.Sub(from)/4))):
		notes = append(notes, fmt.Sprintf("the certificate %s expires on %s and was not renewed", c.certFile, until.UTC().Format(day)))
	}
	return notes
}
