//go:build linux

package centraltest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Authority is a certificate authority of a test.
type Authority struct {
	File        string // holds its certificate
	t           testing.TB
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// NewAuthority makes an authority.
func NewAuthority(t testing.TB, name string) *Authority {
	t.Helper()
	a := &Authority{File: filepath.Join(t.TempDir(), "authority.pem"), t: t}
	form := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, NotBefore: time.Now().AddDate(-2, 0, 0), NotAfter: time.Now().AddDate(2, 0, 0),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}
	var der []byte
	der, a.key = a.sign(form, form, nil)
	var err error
	if a.certificate, err = x509.ParseCertificate(der); err == nil {
		err = os.WriteFile(a.File, block("CERTIFICATE", der), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Issue returns a server's certificate for a name, valid for a year until it ends, and its key.
func (a *Authority) Issue(name string, ends time.Time) (certificate, key []byte) {
	a.t.Helper()
	der, own := a.sign(&x509.Certificate{SerialNumber: big.NewInt(2), DNSNames: []string{name}, NotBefore: ends.AddDate(-1, 0, 0), NotAfter: ends,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}, a.certificate, a.key)
	secret, err := x509.MarshalECPrivateKey(own)
	if err != nil {
		a.t.Fatal(err)
	}
	return block("CERTIFICATE", der), block("EC PRIVATE KEY", secret)
}

// sign makes a key, and a certificate for it that another key signs; nil = its own.
func (a *Authority) sign(form, by *x509.Certificate, with *ecdsa.PrivateKey) (der []byte, own *ecdsa.PrivateKey) {
	a.t.Helper()
	own, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		a.t.Fatal(err)
	}
	if with == nil {
		with = own
	}
	if der, err = x509.CreateCertificate(rand.Reader, form, by, &own.PublicKey, with); err != nil {
		a.t.Fatal(err)
	}
	return der, own
}

func block(kind string, content []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: content})
}
