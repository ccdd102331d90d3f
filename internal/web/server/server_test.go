package server

import (
	"bufio"
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// serve starts a server on loopback that reads the whole body and answers with its length.
func serve(t *testing.T, o Options) (addr string) {
	t.Helper()
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := New(l, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n, err := io.Copy(io.Discard, r.Body)
		if err != nil {
			w.WriteHeader(http.StatusRequestEntityTooLarge)
		}
		fmt.Fprint(w, n)
	}), o)
	ended := make(chan error, 1)
	go func() { ended <- s.Serve() }()
	t.Cleanup(func() {
		s.Shutdown(t.Context())
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return l.Addr().String()
}

// raw sends a text and returns the status line of the answer, "" if the connection was closed
// without one.
func raw(t *testing.T, addr, text string) string {
	t.Helper()
	c, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(time.Minute))
	_, _ = io.WriteString(c, text) // the server may have closed it by then
	line, err := bufio.NewReader(c).ReadString('\n')
	if errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("%.40q: no answer and no end", text)
	}
	return strings.TrimSpace(line)
}

// A long body and huge headers are not read to their end.
func TestRequestsAreLimited(t *testing.T) {
	t.Parallel()
	addr := serve(t, Options{ReadTime: time.Minute})
	if line := raw(t, addr, "GET / HTTP/1.1\r\nHost: x\r\n\r\n"); line != "HTTP/1.1 200 OK" {
		t.Errorf("a plain request: %q", line)
	}
	if line := raw(t, addr, "GET / HTTP/1.1\r\nHost: x\r\nCookie: "+strings.Repeat("a", 64<<10)+"\r\n\r\n"); line != "HTTP/1.1 431 Request Header Fields Too Large" {
		t.Errorf("huge headers: %q", line) // RFC 6585, 5
	}
	long := fmt.Sprintf("POST / HTTP/1.1\r\nHost: x\r\nContent-Length: %d\r\n\r\n", maxBody+1) + strings.Repeat("a", maxBody+1)
	if line := raw(t, addr, long); line != "HTTP/1.1 413 Request Entity Too Large" {
		t.Errorf("a long body: %q", line)
	}
	for _, size := range []int{5 << 20, maxDiscarded / 2} { // sent whole before the answer is read
		long := fmt.Sprintf("POST / HTTP/1.1\r\nHost: x\r\nContent-Length: %d\r\n\r\n", size) + strings.Repeat("a", size)
		if line := raw(t, addr, long); line != "HTTP/1.1 413 Request Entity Too Large" {
			t.Errorf("a body of %d bytes: %q", size, line)
		}
	}
}

// pair writes a self-signed certificate for 127.0.0.1 with a number, and its key.
func pair(t *testing.T, folder string, number int64, from, until time.Time) (certFile, keyFile string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(number), Subject: pkix.Name{CommonName: "cabinet.example"}, NotBefore: from, NotAfter: until,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	certFile, keyFile = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	for path, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: cert}, keyFile: {Type: "PRIVATE KEY", Bytes: private}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return certFile, keyFile
}

// presented returns the number of the certificate that a server presents.
func presented(t *testing.T, addr string) int64 {
	t.Helper()
	c, err := tls.Dial("tcp", addr, &tls.Config{InsecureSkipVerify: true}) // the test compares the certificate itself
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	return c.ConnectionState().PeerCertificates[0].SerialNumber.Int64()
}

// A renewed certificate is presented without a restart, also on a server that is in use; a broken
// renewal keeps the old one, in log and notes, until a good pair is there.
func TestRenewal(t *testing.T) {
	t.Parallel()
	folder, log := t.TempDir(), &bytes.Buffer{}
	now := time.Now()
	certFile, keyFile := pair(t, folder, 1, now.Add(-time.Hour), now.Add(365*24*time.Hour))
	certificate, err := LoadCertificate(certFile, keyFile, slog.New(slog.NewTextHandler(log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	addr := serve(t, Options{Certificate: certificate})
	notes := func() string { return strings.Join(certificate.Notes(time.Now()), "; ") }
	if n := presented(t, addr); n != 1 || notes() != "" {
		t.Errorf("certificate %d, %s", n, notes())
	}
	pair(t, folder, 2, now.Add(-time.Hour), now.Add(365*24*time.Hour))
	if n := presented(t, addr); n != 2 || notes() != "" {
		t.Errorf("renewed: certificate %d, %s", n, notes())
	}
	cert, err := os.ReadFile(certFile)
	if err != nil {
		t.Fatal(err)
	}
	for what, content := range map[string][]byte{"half a file": cert[:len(cert)/2], "empty": nil, "another's key": []byte("-----BEGIN CERTIFICATE-----\n")} {
		if err := os.WriteFile(certFile, content, 0o600); err != nil {
			t.Fatal(err)
		}
		if n := presented(t, addr); n != 2 || !strings.Contains(notes(), "the renewed certificate is refused, the old one stays in force: ") {
			t.Errorf("%s: certificate %d, %s", what, n, notes())
		}
	}
	if err := os.Remove(certFile); err != nil {
		t.Fatal(err)
	}
	if n := presented(t, addr); n != 2 || !strings.Contains(notes(), "no such file") {
		t.Errorf("removed: certificate %d, %s", n, notes())
	}
	pair(t, folder, 3, now.Add(-time.Hour), now.Add(365*24*time.Hour))
	if n := presented(t, addr); n != 3 || notes() != "" {
		t.Errorf("mended: certificate %d, %s", n, notes())
	}
	if text := log.String(); !strings.Contains(text, "the renewed certificate is refused") || !strings.Contains(text, "the certificate was read again") {
		t.Errorf("log: %s", text)
	}
}

// The end of a certificate is in the notes before and after it comes.
func TestEndOfCertificate(t *testing.T) {
	now := time.Now()
	for _, c := range []struct {
		from, until time.Duration // in days from now
		want        string
	}{
		{-1, 365, ""},
		{-90, -1, "has expired on " + now.Add(-24*time.Hour).UTC().Format("2006-01-02") + "; browsers refuse it"},
		{-351, 13, "expires on " + now.Add(13*24*time.Hour).UTC().Format("2006-01-02") + " and was not renewed"},
		{-351, 15, ""},
		{-4, 3, ""}, // one of seven days
		{-6, 1, "was not renewed"},
		{1, 365, "is valid from "},
	} {
		certFile, keyFile := pair(t, t.TempDir(), 1, now.Add(c.from*24*time.Hour), now.Add(c.until*24*time.Hour))
		log := &bytes.Buffer{}
		certificate, err := LoadCertificate(certFile, keyFile, slog.New(slog.NewTextHandler(log, nil)))
		if err != nil {
			t.Fatal(err)
		}
		notes := strings.Join(certificate.Notes(now), "; ")
		if (notes == "") != (c.want == "") || !strings.Contains(notes, c.want) || (log.Len() > 0) != (c.want != "") {
			t.Errorf("%v to %v days: %q, want %q; log %s", int(c.from), int(c.until), notes, c.want, log)
		}
	}
}

// A key that other users of the machine can read is noted.
func TestKeyForEveryone(t *testing.T) {
	now := time.Now()
	certFile, keyFile := pair(t, t.TempDir(), 1, now.Add(-time.Hour), now.Add(365*24*time.Hour))
	if err := os.Chmod(keyFile, 0o644); err != nil {
		t.Fatal(err)
	}
	certificate, err := LoadCertificate(certFile, keyFile, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	if notes := certificate.Notes(now); len(notes) != 1 || !strings.HasPrefix(notes[0], "other users of this machine can read the private key") {
		t.Errorf("%q", notes)
	}
}

// Without a whole pair the server does not start.
func TestBadPairs(t *testing.T) {
	now, folder := time.Now(), t.TempDir()
	certFile, keyFile := pair(t, folder, 1, now, now.Add(time.Hour))
	_, other := pair(t, t.TempDir(), 1, now, now.Add(time.Hour))
	for _, files := range [][2]string{{certFile, other}, {keyFile, certFile}, {certFile, certFile}, {filepath.Join(folder, "none"), keyFile}, {folder, keyFile}} {
		if _, err := LoadCertificate(files[0], files[1], slog.New(slog.DiscardHandler)); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v: %v", files, err)
		}
	}
}

// The old protocols are refused, and plain HTTP gets no page.
func TestTLSOnly(t *testing.T) {
	now := time.Now()
	certFile, keyFile := pair(t, t.TempDir(), 1, now.Add(-time.Hour), now.Add(365*24*time.Hour))
	certificate, err := LoadCertificate(certFile, keyFile, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	addr := serve(t, Options{Certificate: certificate})
	old := &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS11} // RFC 8996
	if c, err := tls.Dial("tcp", addr, old); err == nil {
		c.Close()
		t.Error("TLS 1.1 is accepted")
	}
	if line := raw(t, addr, "GET / HTTP/1.1\r\nHost: x\r\n\r\n"); line != "HTTP/1.0 400 Bad Request" {
		t.Errorf("plain HTTP: %q", line)
	}
	pinned, err := ReadCertificate(certFile)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(pinned)
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{RootCAs: pool}}}
	answer, err := client.Get("https://" + addr)
	if err != nil {
		t.Fatal(err)
	}
	answer.Body.Close()
	if answer.StatusCode != 200 || answer.ProtoMajor != 1 {
		t.Errorf("%s", answer.Status)
	}
}
