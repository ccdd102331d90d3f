package archive

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// refused checks that a sending was refused for good, with words.
func refused(t *testing.T, err error, words string) {
	t.Helper()
	if err == nil || !postgres.Permanent(err) || !strings.Contains(err.Error(), words) {
		t.Errorf("%v, not %q", err, words)
	}
}

// Two watches with the same site and run do not mix their readings: the second store is refused until
// it takes over, and then the first one is. What has arrived stays.
func TestTwoStores(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	one, other := filled(t, r, 60), open(t, filepath.Join(t.TempDir(), "other.db"))
	check(t, appendOne(t, other, r, time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), "4.111"))
	check(t, once(t, one, url, r))
	refused(t, once(t, other, url, r), "another store sends run Shelf")
	same(t, one, url, r)
	rows(t, one, server, r)

	to := NewSink(url, postgres.Options{}, r)
	to.TakeOver()
	_, _, err := ship.Once(t.Context(), other, r.Name, to, nil)
	check(t, err)
	check(t, to.Close())
	check(t, once(t, other, url, r))
	refused(t, once(t, one, url, r), "another store sends run Shelf")
	want := append(readings(t, one, r), readings(t, other, r)...)
	if got := arrived(t, url, r); !reflect.DeepEqual(got, want) {
		t.Errorf("%d readings, want the %d of both stores", len(got), len(want))
	}
}

// More watches than the server has connections for arrive all, where each gives its connection back.
func TestMoreWatchesThanConnections(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	check(t, once(t, filled(t, shelf(t, "First hall"), 1), url, shelf(t, "First hall"))) // the tables exist
	if out, err := server.SQL("owner", "ohmkeep", "ALTER SYSTEM SET max_connections = 6"); err != nil {
		t.Fatal(out)
	}
	server.Restart(syscall.SIGINT)
	const watches = 12
	ctx, cancel := context.WithCancel(t.Context())
	var all sync.WaitGroup
	for i := range watches {
		r := shelf(t, siteName(i))
		s := filled(t, r, 3)
		f := ship.Follower{Run: r.Name, To: NewSink(url, postgres.Options{}, r), Every: 2 * time.Second, Release: true, Log: slog.New(slog.DiscardHandler),
			Use: func(do func(*store.Store) error) error { return do(s) }}
		all.Go(func() { f.Follow(ctx) })
	}
	sites := ""
	for begun := time.Now(); strings.TrimSpace(sites) != fmt.Sprint(watches+1); time.Sleep(100 * time.Millisecond) {
		if time.Since(begun) > 2*time.Minute {
			t.Fatalf("%s sites have arrived", sites)
		}
		if out, err := server.SQL("owner", "ohmkeep", "SELECT count(DISTINCT site) FROM ohmkeep.reading"); err == nil {
			sites = out
		}
	}
	cancel()
	all.Wait()
}

// A site is deleted while its watch sends, as its owner. No row of it is left, and the watch is refused
// from then on: the customer does not come back by itself.
func TestDeletedWhileSending(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 400)
	db, err := postgres.Connect(t.Context(), url, postgres.Options{})
	check(t, err)
	defer db.Close()
	to := NewSink(url, postgres.Options{}, r)
	to.batch = 10
	begun := make(chan struct{})
	var sending errgroup.Group
	sending.Go(func() error {
		batches := 0
		_, _, err := ship.Once(t.Context(), s, r.Name, to, func(int) {
			if batches++; batches == 5 {
				close(begun)
			}
		})
		return err
	})
	<-begun
	gone, err := fleet.Remove(t.Context(), db, "North hall")
	check(t, err)
	refused(t, sending.Wait(), "the site was deleted")
	check(t, to.Close())
	nothing := func() {
		t.Helper()
		for _, table := range gone.Tables {
			out, err := server.SQL("owner", "ohmkeep", "SELECT count(*) FROM ohmkeep."+table.Table)
			if err != nil || strings.TrimSpace(out) != "0" {
				t.Errorf("table %s has %s rows %v", table.Table, out, err)
			}
		}
	}
	nothing()
	refused(t, once(t, s, url, r), "the site of this store was deleted on")
	nothing()
	to = NewSink(url, postgres.Options{}, r)
	to.TakeOver()
	_, _, err = ship.Once(t.Context(), s, r.Name, to, nil)
	check(t, err)
	check(t, to.Close())
	same(t, s, url, r)
	rows(t, s, server, r)
}

// Verdicts that came last count, also after a time when the site's clock was wrong, in the future.
func TestVerdictsOfAWrongClock(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 3)
	to := NewSink(url, postgres.Options{}, r)
	defer to.Close()
	_, _, err := ship.Once(t.Context(), s, r.Name, to, nil)
	check(t, err)
	db, err := postgres.Connect(t.Context(), url, postgres.Options{})
	check(t, err)
	defer db.Close()
	now := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
	for _, v := range []struct {
		taken time.Time
		fails bool
	}{{now, false}, {now.AddDate(73, 0, 0), false}, {now.AddDate(0, 0, 1), true}} {
		check(t, to.Describe(t.Context(), ship.Description{File: "schema = 1", Taken: v.taken,
			Verdicts: []ship.Verdict{{Source: firm.Drift, Kind: run.KindJoint, Name: "west-north", Verdict: "steady", Fails: v.fails}}}))
		sites, err := fleet.List(t.Context(), db, time.Now())
		check(t, err)
		if got := len(sites[0].Runs[0].Causes) > 0; got != v.fails {
			t.Errorf("verdicts of %v: fails %v, want %v", v.taken, got, v.fails)
		}
	}
}

// A run that is sent with codes, then with names, then with codes again, is two runs of two sites, each of them whole.
func TestCodesThenNames(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	named := shelf(t, "North hall")
	s := filled(t, named, 60)
	coded := *named
	coded.Name, coded.Site = "run-1", "site-1"
	send := func(r *run.Run) {
		t.Helper()
		to := NewSink(url, postgres.Options{}, r)
		_, _, err := ship.Once(t.Context(), s, named.Name, to, nil)
		check(t, err)
		check(t, to.Close())
	}
	for i, r := range []*run.Run{&coded, named, &coded, named} {
		check(t, appendOne(t, s, named, time.Date(2026, 1, 1+i, 0, 0, 0, 0, time.UTC), fmt.Sprintf("4.00%d", i))) // before all others
		send(r)
		if got, want := arrived(t, url, r), readings(t, s, named); !reflect.DeepEqual(got, want) {
			t.Errorf("sending %d: %d readings, want %d", i, len(got), len(want))
		}
	}
	if out, err := server.SQL("owner", "ohmkeep", "CREATE ROLE north LOGIN"); err != nil {
		t.Fatal(out)
	}
	db, err := postgres.Connect(t.Context(), url, postgres.Options{})
	check(t, err)
	defer db.Close()
	check(t, fleet.Enrol(t.Context(), db, "site-1", "north"))
	err = once(t, s, server.URL("north", "ohmkeep"), named)
	if err == nil || !strings.Contains(err.Error(), `appends for site "site-1", and the run file says "North hall"`) {
		t.Errorf("names by the role of a site with codes: %v", err)
	}
}
