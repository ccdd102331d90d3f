package archive

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"strconv"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

var (
	growSites = flag.Int("sites", 10, "how many sites the database grows by")
	listed    = flag.Int("listed", 200, "the largest number of sites that are listed")
	growDays  = flag.Float64("days", 0.25, "how many days of readings each has, of 16 channels once a minute")
)

// TestGrowth fills the database by many sites, and measures what a reading costs: processor time of
// this program and of the server, and bytes on disk. The bound is judged by processor time, because
// other programs use the machine too.
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
	minutes := int(*growDays * 24 * 60)
	before := size()
	ownBegun, serverBegun, begun := ownProcessor(t), server.Processor(), time.Now()
	var tasks errgroup.Group
	tasks.SetLimit(2)
	for site := range *growSites {
		tasks.Go(func() error {
			r := shelf(t, fmt.Sprintf("Site %04d", site))
			to := NewSink(url, postgres.Options{}, r)
			defer to.Close()
			if _, err := to.Have(t.Context(), fmt.Sprint(site), 0); err != nil {
				return err
			}
			return grow(t, to, r, site, minutes)
		})
	}
	check(t, tasks.Wait())
	readings := float64(*growSites * minutes * 16)
	wall := time.Since(begun)
	own, other := ownProcessor(t)-ownBegun, server.Processor()-serverBegun
	bytes := float64(size()-before) / readings
	perSecond := 2 * readings / (own + other).Seconds()
	t.Logf("%.0f readings of %d sites in %.1f s: processor time %.1f s here and %.1f s of the server, %.0f readings/s on two cores; %.0f bytes a reading on disk",
		readings, *growSites, wall.Seconds(), own.Seconds(), other.Seconds(), perSecond, bytes)
	row, _, err := db.One(t.Context(), "SELECT sum(pg_relation_size(inhrelid)), sum(pg_indexes_size(inhrelid)) FROM pg_inherits WHERE inhparent = 'ohmkeep.reading'::regclass")
	check(t, err)
	t.Logf("of these %.0f bytes are rows and %.0f the key", float64(row.Int(0))/readings, float64(row.Int(1))/readings)
	if perSecond < 100_000 && !testing.Short() {
		t.Errorf("%.0f readings/s on two cores, at least 100,000 are wanted", perSecond)
	}
}

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
			if len(all) != sites || all[0].Severity != fleet.Failing || len(all[0].Runs) != 1 || all[0].Runs[0].Elements != 40 {
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

// grow sends a site's readings: voltages and currents that follow the temperature of the day, with
// the noise and the last digit of a sensor, and a nightly set of verdicts.
func grow(t *testing.T, to *Sink, r *run.Run, site, minutes int) error {
	random := rand.New(rand.NewPCG(uint64(site), 4))
	var series []*store.Series
	for i := range 16 {
		series = append(series, &store.Series{Identity: int64(random.Uint64()), Number: int64(i), Form: "0.000",
			Channel: store.Channel{Run: r.Name, Probe: "board", Quantity: run.Voltage, From: fmt.Sprintf("west.%d+", i+1), To: fmt.Sprintf("west.%d-", i+1), Unit: "V", Meter: "hand"}})
	}
	begin := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	d := &store.Delivery{Series: series}
	for minute := range minutes {
		at := begin.Add(time.Duration(minute) * time.Minute)
		for i, x := range series {
			value := 5 - 0.02*float64(i) + 0.01*random.NormFloat64()
			d.Readings = append(d.Readings, store.Sent{Series: x, At: at.UnixNano() + int64(site)*1000, Text: strconv.FormatFloat(value, 'f', 3, 64)})
		}
		if len(d.Readings) >= ship.MaxBatch || minute == minutes-1 {
			d.Until = at
			if err := to.Send(t.Context(), d); err != nil {
				return err
			}
			d.Readings = d.Readings[:0]
		}
	}
	made := ship.Description{File: "schema = 1", Taken: begin, Place: fmt.Sprint(site % 17)}
	for i := range 40 {
		v := ship.Verdict{Source: ship.Drift, Kind: run.KindJoint, Name: fmt.Sprintf("%d-%d", i, i+1), Verdict: "steady", Ohms: 0.005, PerYear: 0.0001}
		if i == 7 && site%10 == 0 {
			v.Verdict, v.Fails = "stepped", true
		}
		made.Verdicts = append(made.Verdicts, v)
	}
	return to.Describe(t.Context(), made)
}

// ownProcessor is the processor time of this program.
func ownProcessor(t *testing.T) time.Duration {
	var use syscall.Rusage
	check(t, syscall.Getrusage(syscall.RUSAGE_SELF, &use))
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}
