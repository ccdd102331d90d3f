// Package access decides who may enter a web server.
//
// Reading and writing are two rights. A server that only its own machine can reach requires
// nothing. Any other one requires a token, or the word that everyone may enter (Options.Open).
//
// A program sends the token as "Authorization: Bearer …" (RFC 6750); a person logs in on a page
// and gets a session cookie. A link gives the right to read only, and can be withdrawn (Links); its
// secret is also a bearer token. Secrets are compared in constant time as SHA-256 sums, and wrong
// ones are limited for each address and in all. A secret in a query is not accepted.
//
// What enters without a secret must be sent to one of the machine's own names: a page of another
// site can let its name point to this machine (DNS rebinding), and then a browser takes the server
// for that site, but still sends that name. Requests that write must come from the same origin. Where no secret is
// required, what a proxy hands on for another machine is refused.
package access

import (
	"fmt"
	"log/slog"
	"net"
	"time"

	"golang.org/x/time/rate"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
)

// Options say who may enter.
type Options struct {
	Address   string   // host:port that the server listens on
	TokenFile string   // holds the token, alone on its line; "" = none is required
	Open      bool     // everyone may enter, although other machines reach the server
	Secure    bool     // the server has a certificate
	Public    []string // paths that may be read without a token
	Hosts     []string // further names by which this machine is reached
	Log       *slog.Logger
}

// Guard decides who may enter. It may be used by several goroutines.
type Guard struct {
	options Options
	hosts   []string
	beyond  bool // other machines reach the server
	token   *file.Reloaded[token]
	links   *file.Reloaded[[]Link]
	tries   *tries
	now     func() time.Time
	recheck time.Duration // see recheckEvery

	warnings rate.Sometimes // at most one a minute of too many wrong secrets
}

// New reads the files of the options. It returns a fault if other machines can reach the server
// and the options do not say who may enter.
func New(o Options) (*Guard, error) {
	g := &Guard{options: o, hosts: ownHosts(o.Hosts), beyond: beyondLoopback(o.Address), tries: newTries(), now: time.Now, recheck: recheckEvery,
		warnings: rate.Sometimes{First: 1, Interval: time.Minute}}
	switch {
	case o.TokenFile != "" && o.Open:
		return nil, fault.Fault{Key: "--open", Text: "and --token-file exclude each other", Hint: "a token lets its holders in, --open lets everyone in"}
	case o.TokenFile == "" && g.beyond && !o.Open:
		return nil, fault.Fault{Key: "--listen", Text: o.Address + " can be reached from other machines, and nothing says who may enter",
			Hint: "--token-file FILE requires a token, --open lets everyone enter, --listen 127.0.0.1:9477 keeps it on this machine"}
	case o.TokenFile == "":
		return g, nil
	}
	var err error
	g.token, err = file.NewReloaded(func() (token, error) { return readToken(o.TokenFile) }, g.logged("token"), o.TokenFile)
	if err != nil {
		return nil, err
	}
	g.links, err = file.NewReloaded(func() ([]Link, error) { return ReadLinks(o.TokenFile) }, g.logged("list of links"), linkFile(o.TokenFile))
	if err != nil {
		return nil, err
	}
	return g, nil
}

// logged returns a function that logs that a file was read again.
func (g *Guard) logged(what string) func(error) {
	return func(err error) {
		if err != nil {
			g.options.Log.Error("the new "+what+" is refused; the old one stays in force", "why", err)
			return
		}
		g.options.Log.Info("the " + what + " was read again")
	}
}

// Notes returns in words what an operator should know of who may enter.
func (g *Guard) Notes() (notes []string) {
	if g.token == nil {
		if g.beyond {
			notes = append(notes, "started with --open: every machine that reaches "+g.options.Address+" can read everything and write, as by announcing steps")
		}
		return notes
	}
	token, err := g.token.Value()
	if err != nil {
		notes = append(notes, "the new token is refused, the old one stays in force: "+err.Error())
	}
	if _, err := g.links.Value(); err != nil {
		notes = append(notes, "the new list of links is refused, the old one stays in force: "+err.Error())
	}
	if token.length < goodLength {
		notes = append(notes, fmt.Sprintf("the token has %d characters and may be guessed; %d random ones cannot", token.length, goodLength))
	}
	if file.OthersRead(g.options.TokenFile) {
		notes = append(notes, "other users of this machine can read the token's file "+g.options.TokenFile)
	}
	if g.beyond && !g.options.Secure {
		notes = append(notes, "without --tls-cert the token and what is shown can be read on the way, as in a network that others use")
	}
	return notes
}

// beyondLoopback reports whether other machines can reach host:port. An address that cannot be
// resolved is taken for one that they cannot reach: no server can listen there.
func beyondLoopback(address string) bool {
	at, err := net.ResolveTCPAddr("tcp", address)
	return err == nil && !at.IP.IsLoopback()
}
