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
	pages "ohmkeep/internal/site/fleet"
)

// fleetConnections is how many connections to the central database the pages use at most.
const fleetConnections = 4

// serveFleet serves the pages of a firm's sites until an interrupt.
func serveFleet(c *cobra.Command, f *firm, listen string, may *entry) error {
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
	tasks, ctx := errgroup.WithContext(c.Context())
	fmt.Fprintf(c.ErrOrStderr(), "fleet: %s\n", door.address("/"))
	door.serve(ctx, tasks, pages.New(pages.Config{Program: version(), Log: log,
		Sites: func(ctx context.Context) (sites []*fleet.Site, err error) {
			err = central.Use(ctx, func(db *postgres.DB) error { sites, err = fleet.List(ctx, db, time.Now()); return err })
			return sites, err
		},
		Comparisons: func(ctx context.Context) (all []fleet.Comparison, err error) {
			err = central.Use(ctx, func(db *postgres.DB) error { all, err = fleet.Compare(ctx, db); return err })
			return all, err
		}}))
	return tasks.Wait()
}
