package cli

import (
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/central/archive"
	"ohmkeep/internal/store"
)

// showShipped prints what is sent of a run.
func showShipped(c *cobra.Command, r *runWithProfiles, from string, by *central) error {
	s, err := store.OpenReadOnly(from)
	if err != nil {
		return err
	}
	defer s.Close()
	named, codes, err := by.named(r.Run)
	if err != nil {
		return err
	}
	text, err := os.ReadFile(r.File)
	if err != nil {
		return err
	}
	coded, runFile := func(text string) string { return text }, string(text)
	how := "as it is"
	if codes != nil {
		how, coded = "with codes and without comments", codes.Text
		if runFile, err = codes.File(runFile); err != nil {
			return err
		}
	}
	out := c.OutOrStdout()
	fmt.Fprintf(out, "site %q, run %q\n", archive.SiteOf(named), named.Name)
	readings, first, last := 0, time.Time{}, time.Time{}
	example := ""
	for x, err := range countReadings(c, "reading "+from, s.Readings(c.Context(), r.Name, store.Filter{})) {
		if err != nil {
			return err
		}
		if readings == 0 {
			first = x.Time
			example = fmt.Sprintf("%s %q %s %s %s = %s %s by %q", x.Time.Format(time.RFC3339Nano), x.Step, x.Quantity, x.From, x.To, x.Text, x.Unit, x.Meter)
		}
		readings, last = readings+1, x.Time
	}
	fmt.Fprintf(out, "\n%s, each with its time, step, quantity, places, digits, unit, meter, probe and quality", count(readings, "reading"))
	if readings > 0 {
		fmt.Fprintf(out, "\n  from %s to %s, the first:\n  %s", first.Format(time.RFC3339), last.Format(time.RFC3339), example)
	}
	marks, err := s.AllMarks(c.Context(), r.Name, time.Time{}, time.Time{})
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "\n\n%s: notes, gaps, restarts, with time, subject and text\n", count(len(marks), "mark"))
	for _, m := range marks {
		if m.Kind == store.MarkNote {
			fmt.Fprintf(out, "  %s %s %s\n", m.Time.Format(time.RFC3339), m.Subject, coded(m.Text))
		}
	}
	fmt.Fprint(out, "\nthe verdict on each joint, feed and reel, of assess and of drift: resistance, interval,\nlimit, change a year, and what it is made of\n\nwith each delivery its number, and 32 random digits that stand for this store\n\nthe run file, "+how+":\n")
	for line := range strings.Lines(runFile) {
		fmt.Fprint(out, "  "+line)
	}
	_, err = fmt.Fprintf(out, "\nnot sent: the store's file, the hourly values of deleted readings, the starts of this\nmachine, its name and address, files and passwords\n")
	return err
}
