package cli

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store"
)

// selection holds the flags that select the readings to withdraw or to restore.
type selection struct {
	in, at, from, to, step, value string
	all, back                     bool
}

func newStoreWithdraw() *cobra.Command {
	var w selection
	c := &cobra.Command{
		Use:   "withdraw RUN [WHY]",
		Short: "Take a wrong reading out of a store, or put it back",
		Long: `Withdraw marks the reading of a time and place as wrong: export, assess and drift do not
use it any more. It stays in the store, and ohmkeep note lists it with WHY; --back restores
it. --at takes the time as export prints it; a time in whole seconds means any reading
within that second. Drift is computed again from the readings.`,
		Example:           `  ohmkeep store withdraw shelf.toml "leads reversed" --store shelf.db --at 2026-03-01T09:00:40Z --from left.start+`,
		Args:              argsFrom(1, "RUN", "[WHY]"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, w.in); err != nil {
				return err
			}
			if w.at == "" {
				return callFault(c, "wants --at TIME, as export prints it")
			}
			since, err := parseTimeFlag("--at", w.at)
			if err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			if err := checkStoreExists(w.in); err != nil {
				return err
			}
			s, err := store.Open(w.in)
			if err != nil {
				return err
			}
			err = w.do(c, s, r.Name, since, strings.Join(args[1:], " "))
			if closing := s.Close(); err == nil {
				err = closing
			}
			return err
		},
	}
	c.Flags().StringVar(&w.in, "store", "", "the store, a file")
	c.Flags().StringVar(&w.at, "at", "", "when the reading was taken (RFC 3339)")
	c.Flags().StringVar(&w.from, "from", "", "where: the first point of a voltage, the feed of a current")
	c.Flags().StringVar(&w.to, "to", "", "the second point of a voltage")
	c.Flags().StringVar(&w.step, "step", "", "of this load step only")
	c.Flags().StringVar(&w.value, "value", "", "of this number only, digit by digit as it was written")
	c.Flags().BoolVar(&w.all, "all", false, "all readings that fit, where several do")
	c.Flags().BoolVar(&w.back, "back", false, "put back what was withdrawn")
	return c
}

// do finds the readings and withdraws or restores them.
func (w selection) do(c *cobra.Command, s *store.Store, runName string, since time.Time, why string) error {
	until := since.Add(1)
	if since.Nanosecond() == 0 {
		until = since.Add(time.Second)
	}
	sel := store.Selection{Run: runName, Since: since, Until: until}
	if w.step != "" {
		sel.Step = &w.step
	}
	found, err := w.find(c, s, sel)
	if err != nil {
		return err
	}
	verb, did := "withdraw", "withdrawn"
	if w.back {
		verb, did = "put back", "put back"
	}
	switch n := len(found); {
	case n == 0:
		return fault.Fault{File: w.in, Text: fmt.Sprintf("there is no reading of %s to %s there", since.Format(time.RFC3339Nano), verb),
			Hint: "ohmkeep export lists them; --at, --from and --to must fit"}
	case n > 1 && !w.all:
		return fault.Fault{File: w.in, Text: fmt.Sprintf("%d readings fit: %s and %s", n, line(found[0]), line(found[1])),
			Hint: "say more with --from, --to, --step or --value, or --all for all of them"}
	}
	change := s.Withdraw
	if w.back {
		change = s.Restore
	}
	_, stale, err := change(c.Context(), runName, found, why, time.Now())
	if err != nil {
		return err
	}
	for _, x := range found {
		fmt.Fprintf(c.OutOrStdout(), "%s: %s\n", did, line(x))
	}
	if stale {
		fmt.Fprintln(c.ErrOrStderr(), "old readings were let go from this store: what drift made of earlier nights stays as it is")
	}
	return nil
}

// find returns the selected readings; to restore, those that were withdrawn.
func (w selection) find(c *cobra.Command, s *store.Store, sel store.Selection) (found []reading.Reading, err error) {
	fits := func(x reading.Reading) bool {
		return (w.from == "" || w.from == x.From) && (w.to == "" || w.to == x.To) && (w.value == "" || w.value == x.Text)
	}
	if w.back {
		all, err := s.Withdrawn(c.Context(), sel)
		for _, x := range all {
			if fits(x) {
				found = append(found, x)
			}
		}
		return found, err
	}
	for x, err := range s.Selected(c.Context(), sel) {
		if err != nil {
			return found, err
		}
		if fits(x) {
			found = append(found, x)
		}
	}
	return found, nil
}

// line returns a reading as text for a person.
func line(x reading.Reading) string {
	text := x.Quantity.String() + " " + x.From
	if x.To != "" {
		text += " to " + x.To
	}
	return fmt.Sprintf("%s, %s %s at %s", text, x.Text, x.Unit, x.Time.Format(time.RFC3339Nano))
}
