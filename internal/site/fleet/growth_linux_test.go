package fleet

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/central/pool"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/server"
)

var listed = flag.Int("listed", 100, "the largest number of sites that the pages are measured with")

// mostTime is the most that a page of 1,000 sites may take, from its request to the last byte.
const mostTime = 300 * time.Millisecond

// TestPagesOfManySites measures the pages with 10, 100 and more sites, each with a run of 40 elements
// and ten nights of verdicts, from the request to the last byte. What is judged is the processor
// time of this program and of the database server, because other programs use the machine too: on
// an idle one the page takes no longer than that.
func TestPagesOfManySites(t *testing.T) {
	database := centraltest.Start(t)
	central := pool.New(func(ctx context.Context) (*postgres.DB, error) {
		return postgres.Connect(ctx, database.URL("owner", "ohmkeep"), postgres.Options{})
	}, 4)
	database.Database("ohmkeep")
	defer central.Close()
	if err := central.Use(t.Context(), func(*postgres.DB) error { return nil }); err != nil { // it makes the tables
		t.Fatal(err)
	}
	guard, err := access.New(access.Options{Address: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	listener, err := server.Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	pages := New(t.Context(), Config{Log: slog.New(slog.DiscardHandler),
		Sites: func(ctx context.Context) (sites []*firm.Site, err error) {
			err = central.Use(ctx, func(db *postgres.DB) error { sites, err = fleet.List(ctx, db, time.Now()); return err })
			return sites, err
		},
		Comparisons: func(ctx context.Context) (all []firm.Comparison, err error) {
			err = central.Use(ctx, func(db *postgres.DB) error { all, err = fleet.Compare(ctx, db); return err })
			return all, err
		}})
	s := httptest.NewUnstartedServer(guard.Handler(pages))
	s.Listener.Close()
	s.Listener = listener
	s.Start()
	defer s.Close()
	have := 0
	for _, sites := range []int{10, min(100, *listed), *listed} {
		if sites == have {
			continue
		}
		fill(t, database, have+1, sites)
		have = sites
		for path, want := range map[string]string{"/": fmt.Sprintf("%d sites: ", sites), "/?severity=failing&q=site": "joint 7 jumped", "/site/10": "Joint 7", "/comparisons": " comparisons of how fast resistances rise"} {
			least, wall := time.Hour, time.Hour
			size := 0
			for range 5 {
				before, begun := database.Processor()+own(t), time.Now()
				code, text := get(t, s.URL+path)
				took, cost := time.Since(begun), database.Processor()+own(t)-before
				if code != 200 || !strings.Contains(text, want) {
					t.Fatalf("%s: %d, no %q in\n%s", path, code, want, text)
				}
				least, wall, size = min(least, cost), min(wall, took), len(text)
			}
			t.Logf("%d sites: %s: %v to the last byte of %d, %v of processor time", sites, path, wall.Round(time.Millisecond), size, least.Round(time.Millisecond))
			if least > mostTime && !testing.Short() {
				t.Errorf("%d sites: %s takes %v of processor time, more than %v", sites, path, least, mostTime)
			}
		}
	}
}

// fill adds sites to the central database, of which each tenth has a joint that fails.
func fill(t *testing.T, database *centraltest.Server, first, last int) {
	t.Helper()
	if out, err := database.SQL("owner", "ohmkeep", fmt.Sprintf(`INSERT INTO ohmkeep.site (name, place) SELECT 'Site ' || n, n %% 17 FROM generate_series(%d, %d) n;
		INSERT INTO ohmkeep.run (site, name, heard, arrived, installer) SELECT id, 'Shelf', now(), 1, 'installer ' || id %% 12 FROM ohmkeep.site ON CONFLICT DO NOTHING;
		INSERT INTO ohmkeep.verdict (site, run, source, taken, kind, name, rail, made, verdict, fails, ohms, per_year)
		SELECT id, 'Shelf', 'drift', night, 'joint', element, 'loop', 'type ' || (id + element) %% 10, CASE WHEN element = 7 AND id %% 10 = 0 THEN 'stepped' ELSE 'steady' END,
			element = 7 AND id %% 10 = 0, 0.005 + id * 1e-6, 1e-5 * (id * element %% 13) FROM ohmkeep.site, generate_series(1, 10) night, generate_series(1, 40) element ON CONFLICT DO NOTHING;
		UPDATE ohmkeep.run SET drift = 10, elements = 40; ANALYZE`, first, last)); err != nil {
		t.Fatal(out)
	}
}

// own is the processor time of this program so far.
func own(t *testing.T) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
