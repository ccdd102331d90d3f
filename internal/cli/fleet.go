package cli

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/table"
)

// firmDatabase holds the flags by which a firm's central database is reached.
type firmDatabase struct {
	db string
	by central
}

// connector returns a function that connects to the database.
func (f *firmDatabase) connector(c *cobra.Command) (func(context.Context) (*postgres.DB, error), error) {
	if f.db == "" {
		return nil, callFault(c, "wants --db URL")
	}
	address := strings.Clone(f.db)
	o, err := f.by.options(c, address)
	return func(ctx context.Context) (*postgres.DB, error) { return postgres.Connect(ctx, address, o) }, err
}

// with calls a function with the database.
func (f *firmDatabase) with(c *cobra.Command, do func(*postgres.DB) error) error {
	connect, err := f.connector(c)
	if err != nil {
		return err
	}
	db, err := connect(c.Context())
	if err != nil {
		return err
	}
	defer db.Close()
	return do(db)
}

func newFleet() *cobra.Command {
	var f firmDatabase
	var asJSON, asMetrics bool
	var listen string
	var may entry
	c := &cobra.Command{
		Use:   "fleet",
		Short: "List all sites of a firm: what needs a visit first",
		Long: `Fleet lists the sites that ship to a central database (ohmkeep watch --ship, ohmkeep ship):
those first where something fails, then those not heard of for a day, then those with too
few readings; within a week's findings in the order of their places. A site in repair
comes last until that time is over.

The database is a PostgreSQL. Fleet makes its tables when it first connects, and needs to
be their owner.

--listen serves the list as pages for a browser instead, until an interrupt: what fails at
each site, the comparisons across runs, and of each run the pages of its watch, from the
central database. Live values, announcing a step and noting a repair stay with the watch.
The pages only read. Who may enter is as for a watch: on this machine everyone, elsewhere
who has the token of --token-file or a link (ohmkeep link), or with --open everyone.

Exit status: 0 every site is sound or in repair, 1 something fails, 3 nothing fails but a
site is silent or unproven, 2 the call is wrong or the database cannot be reached; with
--listen 0 after an interrupt.`,
		Example: `  ohmkeep fleet --db postgres://ohmkeep@central.example/ohmkeep
  ohmkeep fleet --db postgres://ohmkeep@central.example/ohmkeep --json
  ohmkeep fleet --db postgres://ohmkeep@central.example/ohmkeep --metrics > fleet.prom
  ohmkeep fleet --db postgres://ohmkeep@central.example/ohmkeep --listen 127.0.0.1:9480`,
		Args:        exactly(),
		Annotations: map[string]string{finishes: "ends the pages that are open; a list ends with its connection"},
		RunE: func(c *cobra.Command, _ []string) error {
			if err := may.check(c); err != nil {
				return err
			}
			if listen == "" && may.given() {
				return callFault(c, "flags that say who may enter need --listen")
			}
			if listen != "" {
				return serveFleet(c, &f, listen, &may)
			}
			return f.with(c, func(db *postgres.DB) error {
				now := time.Now()
				sites, err := fleet.List(c.Context(), db, now)
				if err != nil {
					return err
				}
				switch {
				case asMetrics:
					return fleet.WriteMetrics(c.OutOrStdout(), sites, now)
				case asJSON:
					err = jsondoc.Fleet(c.OutOrStdout(), sites)
				default:
					err = table.Fleet(c.OutOrStdout(), sites, now, styleOf(c.OutOrStdout()))
				}
				if err != nil {
					return err
				}
				return fleetStatus(sites)
			})
		},
	}
	c.PersistentFlags().StringVar(&f.db, "db", "", "the central database, such as postgres://owner@host/ohmkeep")
	c.PersistentFlags().StringVar(&f.by.passwordFile, "password-file", "", "the first line of this file is the database's password; without it PGPASSFILE applies")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	c.Flags().BoolVar(&asMetrics, "metrics", false, "print metrics as text for a metrics server, and exit with 0")
	c.Flags().StringVar(&listen, "listen", "", "serve pages for a browser at this address, host:port")
	may.flags(c)
	c.MarkFlagsMutuallyExclusive("json", "metrics", "listen")
	c.AddCommand(newFleetCompare(&f), newFleetEnrol(&f), newFleetSite(&f), newFleetRemove(&f))
	return c
}

// fleetStatus is 1 where something fails, 3 where something is not known.
func fleetStatus(sites []*firm.Site) error {
	unknown := len(sites) == 0
	for _, s := range sites {
		switch s.Severity {
		case firm.Failing:
			return status(Fails)
		case firm.Silent, firm.Unproven:
			unknown = true
		}
	}
	if unknown {
		return status(Unproven)
	}
	return nil
}

func newFleetCompare(f *firmDatabase) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "compare",
		Short: "Compare joint types, strip batches, conductors and installers across runs",
		Long: `Compare tests for each joint type, strip batch, conductor and installer whether the
resistance of its parts rises faster or slower than that of all others of the kind. A run
counts once, however many parts it has. Each difference has a 95 % interval; of the
differences shown, at most 5 % are none on average (Benjamini and Hochberg).`,
		Example: `  ohmkeep fleet compare --db postgres://ohmkeep@central.example/ohmkeep`,
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			return f.with(c, func(db *postgres.DB) error {
				all, err := fleet.Compare(c.Context(), db)
				switch {
				case err != nil:
					return err
				case asJSON:
					return jsondoc.Comparisons(c.OutOrStdout(), all)
				}
				return table.Comparisons(c.OutOrStdout(), all, styleOf(c.OutOrStdout()))
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

func newFleetEnrol(f *firmDatabase) *cobra.Command {
	var role string
	c := &cobra.Command{
		Use:   "enrol SITE",
		Short: "Let a role of the database append for one site, and nothing else",
		Long: `Enrol adds a site, and gives a role of the database the right to append readings, marks and
verdicts for it. The role can read nothing, change nothing and write for no other site.
PostgreSQL's createuser makes the role.`,
		Example: `  ohmkeep fleet enrol "North hall" --role north_hall --db postgres://ohmkeep@central.example/ohmkeep`,
		Args:    exactly("SITE"),
		RunE: func(c *cobra.Command, args []string) error {
			if role == "" {
				return callFault(c, "wants --role ROLE")
			}
			return f.with(c, func(db *postgres.DB) error {
				if err := fleet.Enrol(c.Context(), db, args[0], role); err != nil {
					return err
				}
				_, err := fmt.Fprintf(c.OutOrStdout(), "role %s may append for site %q, and nothing else\n", role, args[0])
				return err
			})
		},
	}
	c.Flags().StringVar(&role, "role", "", "the role that the site's watch connects as")
	return c
}

func newFleetSite(f *firmDatabase) *cobra.Command {
	var label, place, repair string
	c := &cobra.Command{
		Use:   "site SITE",
		Short: "Set a site's label and place, or say that it is being repaired",
		Long: `Site sets what the central database says of a site. Sites of the same urgency are listed in
the order of their places, so begin a place with what a journey follows: a region, a
postcode, a street. While a site is in repair it is listed last, and no alert speaks of it.`,
		Example: `  ohmkeep fleet site "North hall" --label "museum, north" --place "2 Harbour" --db postgres://ohmkeep@central.example/ohmkeep
  ohmkeep fleet site "North hall" --repair 2026-12-24T18:00:00Z --db postgres://ohmkeep@central.example/ohmkeep
  ohmkeep fleet site "North hall" --repair "" --db postgres://ohmkeep@central.example/ohmkeep`,
		Args: exactly("SITE"),
		RunE: func(c *cobra.Command, args []string) error {
			var to fleet.Settings
			if c.Flags().Changed("label") {
				to.Label = &label
			}
			if c.Flags().Changed("place") {
				to.Place = &place
			}
			if c.Flags().Changed("repair") {
				until, err := parseTimeFlag("--repair", repair)
				if err != nil {
					return err
				}
				to.Repair = &until
			}
			if to == (fleet.Settings{}) {
				return callFault(c, "wants --label, --place or --repair")
			}
			return f.with(c, func(db *postgres.DB) error { return fleet.Set(c.Context(), db, args[0], to) })
		},
	}
	c.Flags().StringVar(&label, "label", "", "how people call the site")
	c.Flags().StringVar(&place, "place", "", "where it is")
	c.Flags().StringVar(&repair, "repair", "", `until when it is being repaired (RFC 3339); "" when that is over`)
	return c
}

func newFleetRemove(f *firmDatabase) *cobra.Command {
	c := &cobra.Command{
		Use:   "remove SITE",
		Short: "Delete a site with all its readings from the central database, and prove it",
		Long: `Remove deletes everything of a site, and prints for each table how many rows were deleted
and how many of the site are left. A row without any name stays that says when. The site's
own store is not changed, and its watch is refused from now on; backups of the central
database are yours to delete.`,
		Example: `  ohmkeep fleet remove "North hall" --db postgres://ohmkeep@central.example/ohmkeep`,
		Args:    exactly("SITE"),
		RunE: func(c *cobra.Command, args []string) error {
			return f.with(c, func(db *postgres.DB) error {
				gone, err := fleet.Remove(c.Context(), db, args[0])
				if err != nil {
					return err
				}
				left := int64(0)
				for _, t := range gone.Tables {
					left += t.Left
					fmt.Fprintf(c.OutOrStdout(), "%-9s %d deleted, %d left\n", t.Table, t.Deleted, t.Left)
				}
				if left > 0 {
					return fmt.Errorf("%d rows of site %d are left", left, gone.Site)
				}
				_, err = fmt.Fprintf(c.OutOrStdout(), "site %d is deleted\n", gone.Site)
				return err
			})
		},
	}
	return c
}
