package cli

import (
	"context"
	"log/slog"
	"net"
	"net/http"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/server"
)

// entry is the flags of a server that say who may enter, and how.
type entry struct {
	tokenFile, certFile, keyFile string
	open                         bool
	hosts, public                []string
}

func (e *entry) flags(c *cobra.Command) {
	c.Flags().StringVar(&e.tokenFile, "token-file", "", "a file with the token that reading and writing require")
	c.Flags().BoolVar(&e.open, "open", false, "let everyone enter, although other machines reach the address")
	c.Flags().StringSliceVar(&e.public, "no-token-for", nil, "metrics, healthz or both: read without the token")
	c.Flags().StringVar(&e.certFile, "tls-cert", "", "a PEM file with the certificate: answer with TLS")
	c.Flags().StringVar(&e.keyFile, "tls-key", "", "a PEM file with the certificate's private key")
	c.Flags().StringSliceVar(&e.hosts, "host", nil, "another name by which this machine is reached; without a token requests to its own names are answered only")
}

// given reports whether any of the flags was given.
func (e *entry) given() bool {
	return e.open || e.tokenFile != "" || e.certFile != "" || e.keyFile != "" || len(e.hosts) > 0 || len(e.public) > 0
}

func (e *entry) check(c *cobra.Command) error {
	if (e.certFile == "") != (e.keyFile == "") {
		return callFault(c, "--tls-cert and --tls-key belong together")
	}
	for _, name := range e.public {
		if name != "metrics" && name != "healthz" {
			return callFault(c, "--no-token-for %q is neither metrics nor healthz", name)
		}
	}
	if len(e.public) > 0 && e.tokenFile == "" {
		return callFault(c, "--no-token-for says nothing without --token-file")
	}
	return nil
}

// load reads the files that the flags name. The certificate is nil where there is none.
func (e *entry) load(listen string, log *slog.Logger) (*access.Guard, *server.Certificate, error) {
	var public []string
	for _, name := range e.public {
		public = append(public, "/"+name)
	}
	guard, err := access.New(access.Options{Address: listen, TokenFile: e.tokenFile, Open: e.open, Secure: e.certFile != "", Public: public, Hosts: e.hosts, Log: log})
	if err != nil || e.certFile == "" {
		return guard, nil, err
	}
	certificate, err := server.LoadCertificate(e.certFile, e.keyFile, log)
	return guard, certificate, err
}

// door is an address that listens, and who may enter there.
type door struct {
	listener    net.Listener
	guard       *access.Guard
	certificate *server.Certificate
}

// listen begins to listen at an address, and logs what an operator should know of who may enter.
func (e *entry) listen(address string, log *slog.Logger) (*door, error) {
	guard, certificate, err := e.load(address, log)
	if err != nil {
		return nil, err
	}
	listener, err := server.Listen(address)
	if err != nil {
		return nil, err
	}
	for _, note := range guard.Notes() {
		log.Warn(note)
	}
	return &door{listener, guard, certificate}, nil
}

// serve answers with pages as one of several tasks, until their context ends.
func (d *door) serve(ctx context.Context, tasks *errgroup.Group, pages http.Handler) {
	answers := server.New(d.listener, d.guard.Handler(pages, parts.Root), server.Options{Certificate: d.certificate})
	tasks.Go(answers.Serve)
	tasks.Go(func() error {
		<-ctx.Done()
		answers.Shutdown(context.WithoutCancel(ctx))
		return nil
	})
}

// address returns the address of a page, as a browser of this machine opens it.
func (d *door) address(path string) string {
	scheme := "http"
	if d.certificate != nil {
		scheme = "https"
	}
	host, port, err := net.SplitHostPort(d.listener.Addr().String())
	if ip := net.ParseIP(host); err == nil && ip != nil && ip.IsUnspecified() {
		host = "localhost"
	}
	return scheme + "://" + net.JoinHostPort(host, port) + path
}
