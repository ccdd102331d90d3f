package cli

import (
	"strings"
	"testing"

	"ohmkeep/internal/central/centraltest"
)

// What was shipped gives the same verdicts from the central database as from the store, to the
// last digit, and a second shipping sends nothing.
func TestShippedVerdicts(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	s := newSession(t)
	s.board(40, 0.03, 20, 35)
	s.do(`ohmkeep import gallery.toml months.csv --store gallery.db`).exits(Passes)
	s.do(`ohmkeep note gallery.toml --store gallery.db --at 2026-04-05T12:00:00Z "re-made joint west-north"`).exits(Passes)
	s.do(`ohmkeep ship gallery.toml --store gallery.db --to ` + url).exits(Passes).prints("have arrived")
	s.do(`ohmkeep ship gallery.toml --store gallery.db --to ` + url).exits(Passes).prints("0 new readings and 0 new marks")
	for _, command := range []string{"drift gallery.toml", "assess gallery.toml", "drift gallery.toml --json", "assess gallery.toml --json"} {
		local := s.do("ohmkeep " + command + " --store gallery.db")
		central := s.do("ohmkeep " + command + " --db " + url)
		if local.out != central.out || local.status != central.status || local.out == "" {
			t.Errorf("%s: from the store, exit status %d\n%sfrom the central database, exit status %d\n%s%s", command, local.status, local.out, central.status, central.out, central.faults)
		}
	}
	got, err := server.SQL("owner", "ohmkeep", "SELECT count(*), count(DISTINCT (series, at)) FROM ohmkeep.reading")
	if lines := strings.Count(s.content("months.csv"), "\n") - 1; err != nil || strings.TrimSpace(got) == "" {
		t.Error(lines, got, err)
	}
	t.Log(got)
}
