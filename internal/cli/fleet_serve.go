package cli

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/central/pool"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/replica"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	pages "ohmkeep/internal/site/fleet"
	"ohmkeep/internal/web/server"
)

// fleetConnections is how many connections to the central database the pages use at most.
const fleetConnections = 4

// serveFleet serves the pages of a firm's sites until an interrupt.
func serveFleet(c *cobra.Command, f *firmDatabase, listen string, may *entry) error {
	log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil))
	connect, err := f.connector(c)
	if err != nil {
		return err
	}
	central := pool.New(connect, fleetConnections)
	defer central.Close()
	// What is wrong with the address is known at once.
	if err := central.Use(c.Context(), func(*postgres.DB) error { return nil }); err != nil {
		return err
	}
	door, err := may.listen(listen, log)
	if err != nil {
		return err
	}
	follower := replica.New(replica.Config{Use: central.Use, Load: loadArrived, Now: time.Now, Log: log})
	tasks, ctx := errgroup.WithContext(c.Context())
	fmt.Fprintf(c.ErrOrStderr(), "fleet: %s\n", door.address("/"))
	door.serve(ctx, tasks, pages.New(ctx, pages.Config{MaxStreams: server.ConnectionLimit() / 2, Program: version(), Log: log,
		Sites: func(ctx context.Context) (sites []*firm.Site, err error) {
			err = central.Use(ctx, func(db *postgres.DB) error { sites, err = fleet.List(ctx, db, time.Now()); return err })
			return sites, err
		},
		Comparisons: func(ctx context.Context) (all []firm.Comparison, err error) {
			err = central.Use(ctx, func(db *postgres.DB) error { all, err = fleet.Compare(ctx, db); return err })
			return all, err
		},
		Follow: func(ctx context.Context, site int64, run string) (pages.Followed, error) {
			of, err := follower.Follow(ctx, site, run)
			if err != nil {
				return nil, err // and not a Followed that is a nil *replica.Run
			}
			return of, nil
		}}))
	return tasks.Wait()
}

// loadArrived reads the text of a run file that has arrived, with the accuracies of its probes. It
// reads no file of this machine, whatever the text names.
func loadArrived(text string) (*run.Run, error) {
	r, err := runfile.Parse("run file", []byte(text))
	if err != nil {
		return nil, err
	}
	_, err = profile.EquipWith(r, func(name string) (*profile.Profile, error) {
		if profile.Own(name) {
			return nil, fault.Fault{Text: name + " is a file of the site's own, which is not sent", Hint: "the page of its watch shows the run"}
		}
		return profile.Load(name, "")
	})
	return r, err
}
