package cli

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/store"
)

func newStoreRedate() *cobra.Command {
	var in, since, until, to string
	c := &cobra.Command{
		Use:   "redate RUN",
		Short: "Move readings with a wrong date to their right date",
		Long: `Redate moves readings that a watch has stored while its clock was wrong. Each reading
has the time since the machine's start beside its date. If other readings of the same start
have certain dates, the right date follows from them. Readings whose date cannot be found
this way are counted and stay; give their period with --since and --until as export prints
it, and with --to the right date of the first of them.

Drift is computed again from the readings. ohmkeep note lists what was moved, so
that it can be moved back.`,
		Example: `  ohmkeep store redate shelf.toml --store shelf.db
  ohmkeep store redate shelf.toml --store shelf.db --since 2099-01-01T00:00:00Z --to 2026-03-01T18:30:00Z`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, in); err != nil {
				return err
			}
			var times [3]time.Time
			for i, flag := range []struct{ name, text string }{{"--since", since}, {"--until", until}, {"--to", to}} {
				if flag.text == "" {
					continue
				}
				var err error
				if times[i], err = parseTimeFlag(flag.name, flag.text); err != nil {
					return err
				}
			}
			if (since == "") != (to == "") || until != "" && to == "" {
				return callFault(c, "--since says which readings move, and --to where to: both are wanted, or neither")
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			if err := checkStoreExists(in); err != nil {
				return err
			}
			s, err := store.Open(in)
			if err != nil {
				return err
			}
			err = redate(c, s, in, r.Name, times[0], times[1], times[2])
			if closing := s.Close(); err == nil {
				err = closing
			}
			return err
		},
	}
	c.Flags().StringVar(&in, "store", "", "the store, a file")
	c.Flags().StringVar(&since, "since", "", "move the readings from this wrong date on (RFC 3339)")
	c.Flags().StringVar(&until, "until", "", "and before this one; without it, all later ones")
	c.Flags().StringVar(&to, "to", "", "the right date of the first of them")
	return c
}

// redate moves readings and prints which. With a zero to, the store itself determines the dates.
func redate(c *cobra.Command, s *store.Store, in, runName string, since, until, to time.Time) error {
	stale := false
	all, err := during(c, "redating "+in, func() (all []store.Redated, err error) {
		if to.IsZero() {
			all, stale, err = s.Redate(c.Context(), runName, time.Now())
		} else {
			all, stale, err = s.RedateTo(c.Context(), runName, since, until, to, time.Now())
		}
		return all, err
	})
	if err != nil {
		return err
	}
	switch {
	case len(all) > 0:
	case to.IsZero():
		fmt.Fprintf(c.OutOrStdout(), "%s: no reading has an uncertain date\n", in)
	default:
		fmt.Fprintf(c.OutOrStdout(), "%s: probes have given no reading in that period; ohmkeep export lists them\n", in)
	}
	for _, x := range all {
		text := fmt.Sprintf("%s dated from %s to %s", count(x.Readings, "reading"), x.First.Format(time.RFC3339), x.Last.Format(time.RFC3339))
		if x.By == 0 {
			fmt.Fprintf(c.OutOrStdout(), "stay, with an uncertain date: %s\n", text)
			continue
		}
		fmt.Fprintf(c.OutOrStdout(), "moved: %s; now from %s to %s\n", text, x.First.Add(x.By).Format(time.RFC3339), x.Last.Add(x.By).Format(time.RFC3339))
	}
	if stale {
		fmt.Fprintln(c.ErrOrStderr(), "old readings were let go from this store: what drift made of earlier nights stays as it is")
	}
	return nil
}
