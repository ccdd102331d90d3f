package service

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"os"
	"slices"
	"strings"
)

// connectionKey is the key of a request's connection in its context.
type connectionKey struct{}

// withConnection is the http.Server's ConnContext.
func withConnection(ctx context.Context, c net.Conn) context.Context {
	return context.WithValue(ctx, connectionKey{}, c)
}

// withGuards returns a handler that sets the headers of every response, refuses requests that a
// page of another site makes a browser send, and keeps the connection until the response is sent.
func withGuards(h http.Handler, hosts []string) http.Handler {
	checked := http.NewCrossOriginProtection().Handler(ownHostsOnly(h, hosts))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, ok := r.Context().Value(connectionKey{}).(*connection); ok {
			defer c.beginAnswer()()
		}
		header := w.Header()
		header.Set("X-Content-Type-Options", "nosniff")
		header.Set("Cache-Control", "no-store")
		header.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		checked.ServeHTTP(w, r)
	})
}

// ownHostsOnly refuses requests that change something and are sent to a name that is not
// the watch's own. A page of another site can let its name point to this machine (DNS
// rebinding); then a browser takes the watch for that site, but still sends that name.
// An address in place of a name cannot be pointed elsewhere.
func ownHostsOnly(h http.Handler, hosts []string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		reads := r.Method == http.MethodGet || r.Method == http.MethodHead || r.Method == http.MethodOptions
		if name := hostName(r.Host); !reads && !isAddress(name) && !slices.Contains(hosts, name) {
			http.Error(w, "this watch is not known as "+oneLine(name)+"; ohmkeep watch --host adds a name", http.StatusForbidden)
			return
		}
		h.ServeHTTP(w, r)
	})
}

// ownHosts returns the names of this machine: those that it knows itself, and the given ones.
func ownHosts(given []string) []string {
	hosts := []string{"localhost"}
	if name, err := os.Hostname(); err == nil {
		short, _, _ := strings.Cut(name, ".")
		hosts = append(hosts, hostName(name), hostName(short), hostName(short)+".local")
	}
	for _, name := range given {
		hosts = append(hosts, hostName(name))
	}
	return hosts
}

// hostName returns the host of a Host header in lower case, without a port and without
// the dot at its end.
func hostName(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	return strings.TrimSuffix(strings.ToLower(strings.Trim(host, "[]")), ".")
}

func isAddress(name string) bool {
	_, err := netip.ParseAddr(name)
	return err == nil
}
