package service

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"syscall"
	"time"
)

// askTimeout is the time-out of a query to a watch.
const askTimeout = 5 * time.Second

// Client is what a query is sent with.
type Client struct {
	Token       string            // "" = none
	Certificate *x509.Certificate // the watch's own, trusted as it is; nil: one that this machine's authorities have signed
}

// Ask queries the watch at an address, host:port or a URL, and returns its status and the JSON as
// received.
func (c Client) Ask(ctx context.Context, address string) (s Status, raw []byte, err error) {
	ctx, cancel := context.WithTimeout(ctx, askTimeout)
	defer cancel()
	if !strings.Contains(address, "://") {
		address = "http://" + address
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimSuffix(address, "/")+"/status", nil)
	if err != nil || request.URL.Scheme != "http" && request.URL.Scheme != "https" {
		return s, nil, errors.New("this is not an address such as 127.0.0.1:9477 or https://cabinet:9477")
	}
	if c.Token != "" {
		request.Header.Set("Authorization", "Bearer "+c.Token)
	}
	answer, err := c.http().Do(request)
	if err != nil {
		return s, nil, noAnswer(err)
	}
	defer answer.Body.Close()
	const maxAnswer = 1 << 22
	if raw, err = io.ReadAll(io.LimitReader(answer.Body, maxAnswer)); err != nil {
		return s, nil, err
	}
	switch answer.StatusCode {
	case http.StatusUnauthorized:
		return s, nil, errors.New("it requires its token; give --token-file FILE with the right one")
	case http.StatusTooManyRequests:
		return s, nil, errors.New("it has received too many wrong tokens from here; wait a minute")
	case http.StatusForbidden:
		return s, nil, errors.New("it does not know itself by this name; ohmkeep watch --host adds one")
	}
	if answer.StatusCode != http.StatusOK || json.Unmarshal(raw, &s) != nil || s.Schema != 1 {
		return s, nil, errors.New("the program that answers there is no watch of this version")
	}
	return s, raw, nil
}

// http returns a client that follows no redirect, which could lead the token elsewhere.
func (c Client) http() *http.Client {
	transport := &http.Transport{DisableKeepAlives: true}
	if c.Certificate != nil {
		pool := x509.NewCertPool()
		pool.AddCert(c.Certificate)
		transport.TLSClientConfig = &tls.Config{RootCAs: pool, ServerName: nameOf(c.Certificate)}
	}
	return &http.Client{Transport: transport, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// nameOf returns a name that a certificate is for.
func nameOf(c *x509.Certificate) string {
	for _, name := range c.DNSNames {
		return strings.Replace(name, "*", "any", 1)
	}
	for _, ip := range c.IPAddresses {
		return ip.String()
	}
	return ""
}

// noAnswer converts an error of a query into one in plain words.
func noAnswer(err error) error {
	var network net.Error
	var name *net.DNSError
	var untrusted *tls.CertificateVerificationError
	switch {
	case errors.As(err, &untrusted):
		return fmt.Errorf("its certificate is not accepted (%w); --tls-cert FILE accepts the one in the file", untrusted.Err)
	case errors.Is(err, context.Canceled):
		return context.Canceled
	case errors.As(err, &name):
		return fmt.Errorf("no machine is known as %s", name.Name)
	case errors.Is(err, syscall.ECONNREFUSED):
		return errors.New("nothing listens there")
	case errors.As(err, &network) && network.Timeout():
		return fmt.Errorf("no answer within %v", askTimeout)
	case errors.Is(err, io.EOF):
		return errors.New("the connection was closed without an answer")
	}
	return errors.New("it cannot be reached")
}
