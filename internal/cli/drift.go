package cli

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/drift"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/jsondoc"
	"ohmkeep/internal/show/page"
	"ohmkeep/internal/show/table"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/analysis"
)

func newDrift() *cobra.Command {
	var from stored
	var to outputs
	var asJSON bool
	c := &cobra.Command{
		Use:   "drift RUN",
		Short: "Find from months of stored readings which joint or feed is getting worse",
		Long: `Drift follows every feed, joint and reel that the stored readings can tell apart, at
20 °C, and says for each whether it is steady, drifting, jumped, intermittent or
unproven (in JSON a jump is "stepped"), since when, by how much, and when it will reach
its limit.

Feeds are followed by any readings of their two ends and their current. Joints and
reels are followed in known steps: readings that name their step, such as those of a
nightly check.

Exit status: 0 all steady or sound, 1 something is over its limit or getting worse,
3 nothing is but something is unproven, 2 the input is wrong.`,
		Example: `  ohmkeep drift shelf.toml --store shelf.db
  ohmkeep drift shelf.toml --store shelf.db --report years.html
  ohmkeep drift shelf.toml --store shelf.db --json
  ohmkeep drift shelf.toml --db postgres://central.example/ohmkeep --json`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := from.check(c); err != nil {
				return err
			}
			if err := to.check(args[0], from.store); err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			h, err := storedHistory(c, r, from)
			if err != nil {
				return err
			}
			if err := writeHistory(c, h, &to); err != nil {
				return err
			}
			if asJSON {
				err = jsondoc.Drift(c.OutOrStdout(), h)
			} else {
				err = table.Drift(c.OutOrStdout(), h, styleOf(c.OutOrStdout()))
			}
			if err != nil {
				return err
			}
			return driftStatus(h)
		},
	}
	from.flags(c, "the store, a file")
	to.flags(c, "write a self-contained HTML page with a picture and a line a month for each element", "draw the element that needs looking at most into this .png or .svg file")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// writeHistory writes the page and the picture that the flags name.
func writeHistory(c *cobra.Command, h *history.History, to *outputs) error {
	err := to.writePage(c, func(w io.Writer) error { return page.Drift(w, h, pageOptions()) })
	if err != nil || len(h.Series) == 0 {
		return err
	}
	return to.draw(c, func() *chart.Picture { return chart.Years(wording.GravestFirst(h.Series)[0], chart.Wide) })
}

// storedHistory computes the history of a run from all its stored readings.
func storedHistory(c *cobra.Command, r *runWithProfiles, from stored) (*history.History, error) {
	limitHeap()
	s, err := from.open(c, r)
	if err != nil {
		return nil, err
	}
	defer s.close()
	now := time.Now()
	state, since, err := analysis.Beginning(c.Context(), s, r.Run, now)
	if err != nil {
		return nil, err
	}
	f := drift.Follow(r.Run, state)
	_, err = f.Take(countReadings(c, "following "+s.name, analysis.WellDated(s.Readings(c.Context(), r.Name, store.Filter{Since: since}), now)))
	if err != nil {
		return nil, err
	}
	if f.State.Last == 0 {
		return nil, fmt.Errorf("%s: holds no readings of run %q", s.name, r.Name)
	}
	return f.State.History(r.Run), nil
}

// driftStatus is 1 where an element fails, 3 where something is unproven.
func driftStatus(h *history.History) error {
	unproven := len(h.Series) == 0
	for _, s := range h.Series {
		if drift.Fails(s) {
			return status(Fails)
		}
		unproven = unproven || s.Verdict == history.Unproven
	}
	if unproven {
		return status(Unproven)
	}
	return nil
}
