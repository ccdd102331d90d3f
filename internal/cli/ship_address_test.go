package cli

import (
	"strings"
	"testing"
)

// An address of another kind than the flag wants is refused when a command starts, in one line.
func TestWrongAddresses(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf+board("cabinet", "/dev/absent"))
	const database, receiver = "is not the address of a PostgreSQL database", "is not the address of a receiver"
	for command, want := range map[string]string{
		"watch shelf.toml --store shelf.db --listen 127.0.0.1:0 --ship ftp://x":              database,
		"watch shelf.toml --store shelf.db --listen 127.0.0.1:0 --ship postgres://x:y/":      "the address is wrong",
		"watch shelf.toml --store shelf.db --listen 127.0.0.1:0 --remote-write postgres://x": receiver,
		"ship shelf.toml --store shelf.db --to ftp://x":                                      database,
		"ship shelf.toml --store shelf.db --remote-write x:9090":                             receiver,
		"fleet --db http://x":           database,
		"drift shelf.toml --db ftp://x": database,
	} {
		o := s.do("ohmkeep " + command)
		if o.exits(Wrong).says(want); strings.Count(o.faults, "\n") != 1 {
			t.Errorf("%s: %s", command, o.faults)
		}
	}
}
