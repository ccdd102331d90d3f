package cli

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/reading/openmetrics"
	"ohmkeep/internal/store"
)

// formats are the forms in which readings are exported, by name.
var formats = map[string]func(context.Context, io.Writer, *store.Store, string, store.Filter) error{
	"csv": func(ctx context.Context, w io.Writer, s *store.Store, runName string, f store.Filter) error {
		return csv.WriteSeq(w, s.Readings(ctx, runName, f))
	},
	"openmetrics": expose,
}

func newExport() *cobra.Command {
	var from, format, since, until string
	c := &cobra.Command{
		Use:   "export RUN",
		Short: "Print the stored readings of a run as CSV or OpenMetrics text",
		Long: `Export prints every measured value that a store holds of a run, digit by digit as it was
sent. Import takes both forms back: csv in the order of time, openmetrics metric by
metric, which promtool makes blocks of:

  promtool tsdb create-blocks-from openmetrics readings.om blocks/

Neither contains readings without a measured value (overload, unsettled, saturated), marks
or notes; ohmkeep store backup copies all of them.`,
		Example: `  ohmkeep export shelf.toml --store shelf.db > readings.csv
  ohmkeep export shelf.toml --store shelf.db --since 2026-03-01T00:00:00Z --until 2026-04-01T00:00:00Z
  ohmkeep export shelf.toml --store shelf.db --format openmetrics > readings.om`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, from); err != nil {
				return err
			}
			write, known := formats[format]
			if !known {
				return fault.Fault{Key: "--format", Text: fmt.Sprintf("%q is not a form of readings", format), Hint: "csv or openmetrics"}
			}
			var f store.Filter
			var err error
			if f.Since, err = parseTimeFlag("--since", since); err != nil {
				return err
			}
			if f.Until, err = parseTimeFlag("--until", until); err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			s, err := store.OpenReadOnly(from)
			if err != nil {
				return err
			}
			defer s.Close()
			if !isTerminal(c.OutOrStdout()) { // where the readings themselves are seen
				defer working(c, "exporting", "").done()
			}
			return write(c.Context(), c.OutOrStdout(), s, r.Name, f)
		},
	}
	c.Flags().StringVar(&from, "store", "", "the store, a file")
	c.Flags().StringVar(&format, "format", "csv", "csv or openmetrics")
	c.Flags().StringVar(&since, "since", "", "not what was read before (RFC 3339)")
	c.Flags().StringVar(&until, "until", "", "only what was read before (RFC 3339)")
	_ = c.RegisterFlagCompletionFunc("format", cobra.FixedCompletions([]string{"csv", "openmetrics"}, cobra.ShellCompDirectiveNoFileComp))
	return c
}

// parseTimeFlag parses the time given by a flag; "" = zero time.
func parseTimeFlag(flag, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, fault.Fault{Key: flag, Text: fmt.Sprintf("%q is not a time", text), Hint: "such as 2026-11-20T16:00:00+01:00"}
	}
	return t, nil
}

// expose writes readings as OpenMetrics text, channel by channel. Readings stored while
// it runs may be missing. From a damaged store it writes all readings that can be read and
// then returns the error.
func expose(ctx context.Context, w io.Writer, s *store.Store, runName string, f store.Filter) error {
	channels, damage := s.Channels(ctx, runName)
	if damage != nil && !store.Damaged(damage) {
		return damage
	}
	slices.SortStableFunc(channels, func(a, b store.Channel) int { return cmp.Compare(a.Quantity, b.Quantity) })
	out := openmetrics.NewReadingsWriter(w, runName)
	for _, c := range channels {
		if err := out.Write(s.Selected(ctx, store.Selection{Run: runName, Step: &c.Step, Quantity: &c.Quantity, From: c.From, To: c.To,
			Unit: &c.Unit, Meter: &c.Meter, Since: f.Since, Until: f.Until})); store.Damaged(err) {
			damage = err
		} else if err != nil {
			return err
		}
	}
	if err := out.Close(); err != nil {
		return err
	}
	return damage
}
