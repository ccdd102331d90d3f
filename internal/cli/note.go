package cli

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/drift"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/store"
)

func newNote() *cobra.Command {
	var to, at string
	var asJSON bool
	c := &cobra.Command{
		Use:   "note RUN [TEXT]",
		Short: "Note a repair, so that what comes after is judged for itself; list what happened",
		Long: `Note writes down what somebody did to a run. Drift begins a new stretch there and
compares what was before with what comes after. A text that names a joint or a feed, or
"joint 2" for the second one along the run, concerns that one; a reel's name, that reel
and its joints; any other text concerns all. What it concerns is printed.

Without a text note lists what happened to the run: notes, starts and stops of the
watch, gaps of probes, changes of the run file and of the clock.`,
		Example: `  ohmkeep note shelf.toml "re-made joint 1" --store shelf.db
  ohmkeep note shelf.toml "new feed near" --store shelf.db --at 2026-11-20T16:00:00+01:00
  ohmkeep note shelf.toml --store shelf.db`,
		Args:              between(1, "RUN", "[TEXT]"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := storeNamed(c, to); err != nil {
				return err
			}
			if len(args) == 1 {
				if at != "" {
					return callFault(c, "--at wants a TEXT to note")
				}
				return listMarks(c, args[0], to, asJSON)
			}
			if asJSON {
				return callFault(c, "--json lists what happened, and takes no TEXT")
			}
			if args[1] == "" {
				return callFault(c, "the note is empty")
			}
			when := time.Now().Truncate(time.Second)
			if at != "" {
				var err error
				if when, err = moment("--at", at); err != nil {
					return err
				}
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			parts, err := drift.Concerns(args[1], r.Run)
			if err != nil {
				return fault.Fault{Text: err.Error(), Hint: "joints are counted from 1 along the run; their names do too"}
			}
			if err := exists(to); err != nil {
				return err
			}
			s, err := store.Open(to)
			if err != nil {
				return err
			}
			err = s.Mark(c.Context(), r.Name, store.Mark{Time: when, Kind: store.MarkNote, Text: args[1]})
			if closing := s.Close(); err == nil {
				err = closing
			}
			if err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "noted at %s: concerns %s\n", when.Format(time.RFC3339), partsText(parts))
			return nil
		},
	}
	c.Flags().StringVar(&to, "store", "", "the store, a file")
	c.Flags().StringVar(&at, "at", "", "when it was done (RFC 3339); now where it is left out")
	c.Flags().BoolVar(&asJSON, "json", false, "list as JSON")
	return c
}

// partsText lists what a note concerns.
func partsText(parts []drift.Part) string {
	if len(parts) == 0 {
		return "the whole run"
	}
	var texts []string
	for _, p := range parts {
		texts = append(texts, string(p.Kind)+" "+p.Name)
	}
	return strings.Join(texts, ", ")
}
