package cli

import (
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/central/description"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// central holds the flags by which a central database is reached.
type central struct {
	passwordFile string
	rate         int
	codes        string
}

func (o *central) flags(c *cobra.Command) {
	c.Flags().StringVar(&o.passwordFile, "password-file", "", "the first line of this file is the database's password; without it PGPASSFILE applies")
}

// codesFlag adds the flag by which names are replaced by codes.
func (o *central) codesFlag(c *cobra.Command) {
	c.Flags().StringVar(&o.codes, "codes", "", "replace the names of run, site, owner, place and installer by codes, with the secret in the first line of this file")
}

// named returns a run as the central database names it, and the codes of its names; nil = it has none.
func (o *central) named(r *run.Run) (*run.Run, *ship.Codes, error) {
	if o.codes == "" {
		return r, nil, nil
	}
	codes, err := ship.NewCodes(o.codes, r)
	if err != nil {
		return nil, nil, err
	}
	return codes.Run(), codes, nil
}

func (o *central) rateFlag(c *cobra.Command) {
	c.Flags().IntVar(&o.rate, "ship-rate", 0, "most bytes a second that are sent; 0: no limit")
}

// options returns the settings of a connection. A password that an address contains is taken out
// of the list of processes, with a warning; another one is about what others can read or change.
func (o *central) options(c *cobra.Command, address string) (postgres.Options, error) {
	if o.rate < 0 {
		return postgres.Options{}, callFault(c, "--ship-rate %d is less than nothing", o.rate)
	}
	if password := postgres.Password(address); password != "" {
		fmt.Fprintln(c.ErrOrStderr(), "a password in an address can be seen by others when a command starts: put it into a file, and name that by --password-file")
		hideArgument(strings.Clone(password))
	}
	if warning := postgres.Warning(address); warning != "" {
		fmt.Fprintln(c.ErrOrStderr(), warning)
	}
	return postgres.Options{PasswordFile: o.passwordFile, BytesPerSecond: o.rate}, nil
}

func newShip() *cobra.Command {
	var from string
	var o shipping
	var show bool
	c := &cobra.Command{
		Use:   "ship RUN",
		Short: "Send the stored readings of a run to a firm's central database",
		Long: `Ship sends what has not arrived yet: readings with their digits as they were sent, marks
and notes, the run file and the verdicts. --show prints what that is, and sends nothing.
The store keeps what has arrived, so that nothing is lost or there twice, also after an
interruption. ohmkeep watch --ship does the same all the time. --codes replaces names by
codes.

One store sends a run. Another one with the same run and site is refused, because two
watches with one run file would mix their readings. --take-over lets this store send the
run from now on, such as after a disk was lost; what has arrived stays.

--to is the address of a PostgreSQL database. A connection to another machine is encrypted
unless the address says ?sslmode=disable; with ?sslmode=verify-full&sslrootcert=FILE the
server's certificate is checked against the authority's in FILE. The site is the run
file's key "site", or else the run's name.`,
		Example: `  ohmkeep ship shelf.toml --store shelf.db --show
  ohmkeep ship shelf.toml --store shelf.db --to postgres://north_hall@central.example/ohmkeep --password-file password`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, from); err != nil {
				return err
			}
			if o.to+o.remote == "" && !show {
				return callFault(c, "wants --to URL, --remote-write URL, or --show")
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			if o.takeOver && (o.to == "" || show) {
				return callFault(c, "--take-over wants --to URL, and no --show")
			}
			if show {
				return showShipped(c, r, from, &o.by)
			}
			all, err := o.destinations(c, r.Run, slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil)))
			if err != nil {
				return err
			}
			s, err := openExisting(from)
			if err != nil {
				return err
			}
			defer s.Close()
			for _, to := range all {
				if err := shipOnce(c, s, r, to); err != nil {
					return err
				}
			}
			return nil
		},
	}
	c.Flags().StringVar(&from, "store", "", "the store, a file")
	c.Flags().StringVar(&o.to, "to", "", "the central database, such as postgres://user@host/ohmkeep")
	c.Flags().StringVar(&o.remote, "remote-write", "", remoteWriteUsage)
	c.Flags().BoolVar(&o.takeOver, "take-over", false, "let this store send the run from now on, in place of another store or after its site was deleted")
	c.Flags().BoolVar(&show, "show", false, "print what is sent, and send nothing")
	o.by.flags(c)
	o.by.rateFlag(c)
	o.by.codesFlag(c)
	return c
}

// openExisting opens a store for writing that exists.
func openExisting(path string) (*store.Store, error) {
	if _, err := os.Stat(path); err != nil {
		_, err = store.OpenReadOnly(path) // its error says what is wrong
		if err != nil {
			return nil, err
		}
	}
	return store.Open(path)
}

// shipOnce sends what has not arrived, then the run file and the verdicts.
func shipOnce(c *cobra.Command, s *store.Store, r *runWithProfiles, to ship.Destination) error {
	defer to.Close()
	readings, marks := 0, 0
	_, err := during(c, "sending to "+to.Name(), func() (_ any, err error) {
		if readings, marks, err = ship.Once(c.Context(), s, r.Name, to, nil); err != nil {
			return nil, err
		}
		made, err := description.Make(c.Context(), s, r.Run, nil, time.Now())
		if err != nil {
			return nil, err
		}
		return nil, to.Describe(c.Context(), made)
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "%s and %s of run %q have arrived at %s\n", count(readings, "new reading"), count(marks, "new mark"), r.Name, to.Name())
	return err
}
