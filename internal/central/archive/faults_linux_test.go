package archive

import (
	"errors"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
)

// A server that is shut down in the middle of a COPY has nothing of it, and takes it later.
func TestStoppedInCopy(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 500)
	to := NewSink(url, postgres.Options{BytesPerSecond: 20_000}, r)
	ended := make(chan error, 1)
	go func() {
		_, _, err := ship.Once(t.Context(), s, r.Name, to, nil)
		ended <- err
	}()
	for begun := time.Now(); ; {
		out, err := server.SQL("owner", "ohmkeep", "SELECT bytes_processed > 5000 FROM pg_stat_progress_copy")
		if err != nil || time.Since(begun) > time.Minute {
			t.Fatalf("no COPY is seen: %v %s", err, out)
		}
		if strings.TrimSpace(out) == "t" {
			break
		}
	}
	server.Restart(syscall.SIGINT)
	if err := <-ended; !errors.Is(err, postgres.ErrLost) || postgres.Permanent(err) {
		t.Errorf("the sending ends with %v", err)
	}
	check(t, to.Close())
	if out, err := server.SQL("owner", "ohmkeep", "SELECT count(*) FROM ohmkeep.reading"); err != nil || strings.TrimSpace(out) != "0" {
		t.Errorf("%s readings of half a COPY %v", out, err)
	}
	check(t, once(t, s, url, r))
	same(t, s, url, r)
	rows(t, s, server, r)
}

// While the disk of the server is full nothing is lost, and the follower need not be started again: it
// is no error for a person to mend at the site.
func TestFullDisk(t *testing.T) {
	server := centraltest.StartOnDisk(t, "160m")
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 2000)
	to := NewSink(url, postgres.Options{}, r)
	_, _, err := ship.Once(t.Context(), filled(t, shelf(t, "South hall"), 1), r.Name, NewSink(url, postgres.Options{}, shelf(t, "South hall")), nil)
	check(t, err) // the tables exist
	free := server.Fill(200_000)
	_, _, err = ship.Once(t.Context(), s, r.Name, to, nil)
	if err == nil || postgres.Permanent(err) {
		t.Errorf("on a full disk: %v", err)
	}
	t.Log(err)
	_ = to.Close()
	free()
	if _, err := server.SQL("owner", "ohmkeep", "SELECT 1"); err != nil { // it has ended, because it could not write its log
		server.Launch()
	}
	check(t, once(t, s, url, r))
	same(t, s, url, r)
}
