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

// maxNoteAhead is how far ahead of this machine's clock a note may be dated: clocks and time
// zones differ.
const maxNoteAhead = 24 * time.Hour

func newNote() *cobra.Command {
	var to, at string
	var asJSON, withdrawn bool
	c := &cobra.Command{
		Use:   "note RUN [TEXT]",
		Short: "Note a repair, so that readings after it are judged by themselves; list what happened",
		Long: `Note records work that was done on a run. Drift begins a new stretch there and
compares what was before with what comes after. A text that names a joint or a feed, or
"joint 2" for the second one along the run, concerns that one; a reel's name, that reel
and its joints; any other text concerns all. What it concerns is printed. A name that
the run does not have, such as "joint 9" or "feed neer", is refused with those near it,
and so is a date in the future.

Without a text note lists what happened to the run: notes, starts and stops of the
watch, restarts, faults and gaps of probes, changes of the run file and of the clock.

--withdraw marks a note as wrong, such as one on the wrong joint: drift does not use
it, and it stays in the list, marked.`,
		Example: `  ohmkeep note shelf.toml "re-made joint 1" --store shelf.db
  ohmkeep note shelf.toml "new feed near" --store shelf.db --at 2026-11-20T16:00:00+01:00
  ohmkeep note shelf.toml --store shelf.db`,
		Args:              argsFrom(1, "RUN", "[TEXT]"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, to); err != nil {
				return err
			}
			if len(args) == 1 {
				if withdrawn {
					return callFault(c, "--withdraw wants the TEXT of a note")
				}
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
			var when time.Time
			if at != "" {
				var err error
				if when, err = parseTimeFlag("--at", at); err != nil {
					return err
				}
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			if withdrawn {
				return withdrawNote(c, to, r.Name, args[1], when)
			}
			now := time.Now().Truncate(time.Second)
			if when.IsZero() {
				when = now
			}
			if when.After(now.Add(maxNoteAhead)) {
				return fault.Fault{Key: "--at", Text: at + " is in the future", Hint: "when the work was done, at most now"}
			}
			if err := drift.Misnamed(args[1], r.Run); err != nil {
				return err
			}
			parts, err := drift.Concerns(args[1], r.Run)
			if err != nil {
				return fault.Fault{Text: err.Error(), Hint: "joints are counted from 1 along the run; their names do too"}
			}
			if err := checkStoreExists(to); err != nil {
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
	c.Flags().BoolVar(&withdrawn, "withdraw", false, "the newest note with this TEXT, or the one of --at, does not hold")
	return c
}

// withdrawNote marks a note as withdrawn.
func withdrawNote(c *cobra.Command, in, runName, text string, at time.Time) error {
	if err := checkStoreExists(in); err != nil {
		return err
	}
	s, err := store.Open(in)
	if err != nil {
		return err
	}
	found, err := s.WithdrawMark(c.Context(), runName, store.MarkNote, text, at, time.Now())
	if closing := s.Close(); err == nil {
		err = closing
	}
	switch {
	case err != nil:
		return err
	case !found:
		return fault.Fault{File: in, Text: fmt.Sprintf("no note in force reads %q", text), Hint: "ohmkeep note without a TEXT lists them"}
	}
	fmt.Fprintf(c.OutOrStdout(), "withdrawn: %s\n", text)
	return nil
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
