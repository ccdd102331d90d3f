package cli

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/watch/watchtest"
)

// A watch that other machines can reach, with a token and TLS: programs, links and ohmkeep status
// enter with the right secret alone, and a withdrawn link does not.
func TestWatchWithToken(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf+board("cabinet", "simulated"))
	token := strings.TrimSpace(s.do(`ohmkeep token cabinet.token`).exits(Passes).out)
	s.do(`ohmkeep token cabinet.token`).refused("cabinet.token: is there already")
	s.testCertificate()
	_, port, _ := net.SplitHostPort(s.freeAddress())
	at := "https://127.0.0.1:" + port
	ctx, cancel := context.WithCancel(t.Context())
	w := &watching{session: s, cancel: cancel, ended: make(chan int, 1), out: &watchtest.Log{}}
	line := "watch shelf.toml --store shelf.db --simulated --listen 0.0.0.0:" + port + " --token-file cabinet.token --tls-cert cert.pem --tls-key key.pem --no-token-for healthz"
	go func() { w.ended <- Run(ctx, strings.Fields(line), strings.NewReader(""), w.out, w.out) }()
	t.Cleanup(func() { cancel(); <-w.ended })
	client := &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	ask := func(method, path, bearer string) int {
		request, err := http.NewRequest(method, at+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if bearer != "" {
			request.Header.Set("Authorization", "Bearer "+bearer)
		}
		answer, err := client.Do(request)
		if err != nil {
			return 0
		}
		answer.Body.Close()
		return answer.StatusCode
	}
	w.until("ready", func() bool { return ask("GET", "/healthz", "") == 200 })
	link := strings.TrimSpace(s.do("ohmkeep link make owner --token-file cabinet.token --at " + at).exits(Passes).out)
	secret := link[strings.LastIndex(link, "/")+1:]
	if link != at+"/link/"+secret {
		t.Errorf("link %s", link)
	}
	for _, c := range []struct {
		method, path, bearer string
		want                 int
	}{
		{"GET", "/status", "", 401}, {"GET", "/", "", 401}, {"GET", "/metrics", "", 401}, {"POST", "/step", "", 401}, {"GET", "/status", "wrong", 401},
		{"GET", "/status?token=" + token, "", 401},
		{"GET", "/status", token, 200}, {"GET", "/metrics", token, 200}, {"POST", "/step", token, 204},
		{"GET", "/status", secret, 200}, {"GET", "/metrics", secret, 200}, {"POST", "/step", secret, 403}, {"GET", "/link/" + secret, "", 200},
	} {
		if got := ask(c.method, c.path, c.bearer); got != c.want {
			t.Errorf("%s %s with %q: %d, want %d", c.method, c.path, c.bearer, got, c.want)
		}
	}
	s.do("ohmkeep link list --token-file cabinet.token").exits(Passes).prints("  owner\n")
	s.write("secret", secret)
	s.do("ohmkeep status --at " + at + " --tls-cert cert.pem").refused("it requires its token; give --token-file FILE with the right one")
	s.do("ohmkeep status --at " + at + " --token-file cabinet.token").refused("; --tls-cert FILE accepts the one in the file")
	s.do("ohmkeep status --at https://127.0.0.1:" + port + " --token-file secret --tls-cert cert.pem").prints("Book shelf, watched for")
	s.do("ohmkeep status --store shelf.db --token-file cabinet.token --tls-cert cert.pem").prints("Book shelf, watched for")
	s.do("ohmkeep link withdraw owner --token-file cabinet.token").exits(Passes)
	if got := ask("GET", "/status", secret); got != 401 {
		t.Errorf("a withdrawn link: %d", got)
	}
	if log := w.out.String(); strings.Contains(log, token) || strings.Contains(log, secret) {
		t.Errorf("the log holds a secret:\n%s", log)
	}
}

// testCertificate writes the certificate and key of httptest's own server, which is valid until 2084, as
// cert.pem and key.pem.
func (s session) testCertificate() {
	s.Helper()
	own := httptest.NewTLSServer(http.NotFoundHandler())
	defer own.Close()
	pair := own.TLS.Certificates[0]
	key, err := x509.MarshalPKCS8PrivateKey(pair.PrivateKey)
	if err != nil {
		s.Fatal(err)
	}
	s.write("cert.pem", string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: pair.Certificate[0]})))
	s.write("key.pem", string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: key})))
}
