package archive

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/store"
)

var (
	growSites = flag.Int("sites", 10, "how many sites the database grows by")
	listed    = flag.Int("listed", 200, "the largest number of sites that are listed")
	growDays  = flag.Float64("days", 0.25, "how many days of readings each has, of 16 channels once a minute")
	plants    = flag.Int("plants", 3, "how many runs are simulated; the sites are variations of these")
)

// TestGrowth fills the database by many sites, and measures what a reading costs: processor time of
// this program and of the server, and bytes on disk. The bound is judged by processor time, because
// other programs use the machine too. Then it measures what it takes to read a site and the list.
func TestGrowth(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	db, err := postgres.Connect(t.Context(), url, postgres.Options{})
	check(t, err)
	defer db.Close()
	check(t, db.Migrate(t.Context()))
	size := func() int64 {
		row, _, err := db.One(t.Context(), "SELECT pg_database_size('ohmkeep')")
		check(t, err)
		return row.Int(0)
	}
	var kinds []*site
	for seed := range *plants {
		kinds = append(kinds, simulate(t, seed, int(*growDays*24*60)))
	}
	before := size()
	used := func() (own, other time.Duration) { return ownProcessor(t), server.Processor() }
	ownBegun, serverBegun := used()
	begun := time.Now()
	var readings atomic.Int64
	var tasks errgroup.Group
	tasks.SetLimit(2)
	for n := range *growSites {
		tasks.Go(func() error {
			kind := kinds[n%len(kinds)]
			readings.Add(int64(len(kind.readings)))
			return grow(t, url, kind, n)
		})
	}
	check(t, tasks.Wait())
	wall := time.Since(begun)
	own, other := used()
	own, other = own-ownBegun, other-serverBegun
	sent := float64(readings.Load())
	bytes := float64(size()-before) / sent
	perSecond := 2 * sent / (own + other).Seconds()
	load, _ := os.ReadFile("/proc/loadavg")
	t.Logf("%.0f readings of %d sites in %.1f s: processor time %.1f s here and %.1f s of the server, %.0f readings/s on two cores; %.0f bytes a reading on disk; load %s",
		sent, *growSites, wall.Seconds(), own.Seconds(), other.Seconds(), perSecond, bytes, strings.Join(strings.Fields(string(load))[:3], " "))
	row, _, err := db.One(t.Context(), "SELECT sum(pg_relation_size(inhrelid)), sum(pg_indexes_size(inhrelid)) FROM pg_inherits WHERE inhparent = 'ohmkeep.reading'::regclass")
	check(t, err)
	t.Logf("of these %.0f bytes are rows and %.0f the key", float64(row.Int(0))/sent, float64(row.Int(1))/sent)
	if perSecond < 100_000 && !testing.Short() {
		t.Errorf("%.0f readings/s on two cores, at least 100,000 are wanted", perSecond)
	}
	check(t, db.Script(t.Context(), "ANALYZE"))
	from := server.Processor() + ownProcessor(t)
	got, err := poll(t.Context(), url, shelf(t, siteName(0)))
	check(t, err)
	to := server.Processor() + ownProcessor(t)
	sites, err := fleet.List(t.Context(), db, time.Now())
	check(t, err)
	t.Logf("%v of processor time for the %d readings of a site, %v for the list of %d sites", to-from, len(got), server.Processor()+ownProcessor(t)-to, len(sites))
	if len(got) != len(kinds[0].readings) || len(sites) != *growSites {
		t.Errorf("%d readings of the first site, want %d; %d sites", len(got), len(kinds[0].readings), len(sites))
	}
}

func siteName(n int) string { return fmt.Sprintf("Site %04d", n) }

// TestListOfManySites measures the fleet's list with 10, 100 and 1,000 sites, each with a run of 40
// elements and ten nights of verdicts.
func TestListOfManySites(t *testing.T) {
	server := centraltest.Start(t)
	db, err := postgres.Connect(t.Context(), server.Database("ohmkeep"), postgres.Options{})
	check(t, err)
	defer db.Close()
	check(t, db.Migrate(t.Context()))
	have := 0
	for _, sites := range []int{10, 100, *listed} {
		check(t, db.Script(t.Context(), fmt.Sprintf(`INSERT INTO ohmkeep.site (name, place) SELECT 'Site ' || n, n %% 17 FROM generate_series(%d, %d) n;
			INSERT INTO ohmkeep.run (site, name, heard, arrived) SELECT id, 'Shelf', now(), 1 FROM ohmkeep.site ON CONFLICT DO NOTHING;
			INSERT INTO ohmkeep.verdict (site, run, source, taken, kind, name, rail, made, verdict, fails, ohms, per_year)
			SELECT id, 'Shelf', 'drift', night, 'joint', element, 'loop', 'type ' || id %% 5, CASE WHEN element = 7 AND id %% 10 = 0 THEN 'stepped' ELSE 'steady' END,
				element = 7 AND id %% 10 = 0, 0.005 + id * 1e-6, 1e-5 * (id * element %% 13) FROM ohmkeep.site, generate_series(1, 10) night, generate_series(1, 40) element ON CONFLICT DO NOTHING;
			UPDATE ohmkeep.run SET drift = 10, elements = 40; ANALYZE`, have+1, sites)))
		have = sites
		list, compare := time.Hour, time.Hour
		for range 3 {
			from := server.Processor() + ownProcessor(t)
			all, err := fleet.List(t.Context(), db, time.Now())
			check(t, err)
			to := server.Processor() + ownProcessor(t)
			if len(all) != sites || all[0].Severity != firm.Failing || len(all[0].Runs) != 1 || all[0].Runs[0].Elements != 40 {
				t.Fatalf("%d sites, %+v", len(all), all[0])
			}
			compared, err := fleet.Compare(t.Context(), db)
			check(t, err)
			if len(compared) != 5 {
				t.Fatalf("%+v", compared)
			}
			list, compare = min(list, to-from), min(compare, server.Processor()+ownProcessor(t)-to)
		}
		t.Logf("%d sites: %v of processor time for the list, %v for the comparisons", sites, list.Round(time.Millisecond), compare.Round(time.Millisecond))
		if list > 300*time.Millisecond && !testing.Short() {
			t.Errorf("the list of %d sites takes %v, more than 300 ms", sites, list)
		}
	}
}

// grow sends the readings and the verdicts of a site.
func grow(t *testing.T, url string, kind *site, n int) error {
	to := NewSink(url, postgres.Options{}, shelf(t, siteName(n)))
	defer to.Close()
	if _, err := to.Have(t.Context(), fmt.Sprint(n), 0); err != nil {
		return err
	}
	if err := kind.varied(n, ship.MaxBatch, func(d *store.Delivery) error { return to.Send(t.Context(), d) }); err != nil {
		return err
	}
	return to.Describe(t.Context(), ship.Description{File: "schema = 1", Taken: time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC), Place: fmt.Sprint(n % 17), Verdicts: kind.verdicts})
}

// ownProcessor is the processor time of this program.
func ownProcessor(t *testing.T) time.Duration {
	var use syscall.Rusage
	check(t, syscall.Getrusage(syscall.RUSAGE_SELF, &use))
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}
