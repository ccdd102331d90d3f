package access

import (
	"net"
	"net/http"
	"net/netip"
	"os"
	"slices"
	"strings"
)

// ownHost reports whether a request was sent to a name of this machine. An address in place of a
// name cannot be pointed elsewhere.
func (g *Guard) ownHost(r *http.Request) bool {
	name := hostName(r.Host)
	return isAddress(name) || slices.Contains(g.hosts, name)
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
