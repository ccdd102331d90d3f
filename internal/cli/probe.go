package cli

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/show/table"
)

func newProbe() *cobra.Command {
	c := &cobra.Command{
		Use:   "probe",
		Short: "Find, check, record, replay and compare meters and boards; list profiles and ports",
		Example: `  ohmkeep probe list
  ohmkeep probe ports
  ohmkeep probe find
  ohmkeep probe check shelf.toml board
  ohmkeep probe record shelf.toml board --seconds 60 --out board.txt
  ohmkeep probe replay board.txt`,
	}
	c.AddCommand(newProbeList(), newProbePorts(), newProbeFind(), newProbeCompare(), newProbeCheck(), newProbeRecord(), newProbeReplay())
	return c
}

func newProbeList() *cobra.Command {
	var sources bool
	c := &cobra.Command{
		Use:   "list",
		Short: "List the device profiles that come with ohmkeep",
		Example: `  ohmkeep probe list
  ohmkeep probe list --sources`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			var list []table.Item
			for _, name := range profile.Names() {
				p, err := profile.Load(name, "")
				if err != nil {
					return err
				}
				rate := ""
				if p.Port.Baud > 0 {
					rate = fmt.Sprintf("%d baud", p.Port.Baud)
				}
				list = append(list, table.Item{Head: fmt.Sprintf("%-18s %-6s %12s  ", p.Name, p.Kind, rate), Text: p.Title})
				if sources {
					list = append(list, table.Item{Head: "    by       ", Text: p.Source}, table.Item{Head: "    accuracy ", Text: p.Accuracy})
				}
			}
			return table.List(c.OutOrStdout(), list, styleOf(c.OutOrStdout()))
		},
	}
	c.Flags().BoolVar(&sources, "sources", false, "say by which chip, standard or datasheet each goes, and where its accuracy is from")
	return c
}

func newProbeCheck() *cobra.Command {
	var at portFlags
	c := &cobra.Command{
		Use:   "check [RUN PROBE]",
		Short: "Show what a port sends and which lines can be read",
		Long: `Check opens one probe, of a run file or given by profile and port, listens or asks for
a while, shows each line as it comes, and sums up what was understood.

Exit status: 0 something was understood and nothing was bad, 1 otherwise, 2 the call
is wrong or the port does not open.`,
		Example: `  ohmkeep probe check shelf.toml board
  ohmkeep probe check --profile plain-lines --port /dev/ttyUSB0 --seconds 5
  ohmkeep probe check --profile hwmon-ina2xx --port ina226@1-0040`,
		Args: argsFrom(0, "RUN", "PROBE"),
		RunE: func(c *cobra.Command, args []string) error {
			found, err := at.find(c, args)
			if err != nil {
				return err
			}
			return checkProbe(c, found)
		},
	}
	at.add(c, 3, "how long to listen or ask")
	return c
}

func checkProbe(c *cobra.Command, at *openableProbe) error {
	out := c.OutOrStdout()
	begun := time.Now()
	o := instrument.Options{Log: func(e instrument.Event) {
		fmt.Fprintf(out, "%7.3f  %-8s %s", e.Time.Sub(begun).Seconds(), e.Kind, strconv.Quote(e.Text))
		for _, s := range e.Samples {
			fmt.Fprintf(out, "  → %s", sampleText(s))
		}
		if e.Reason != "" {
			fmt.Fprintf(out, "  (%s)", e.Reason)
		}
		fmt.Fprintln(out)
	}}
	report, err := instrument.Check(c.Context(), at.profile, at.Port, at.lasting, o, func(o instrument.Options) (instrument.Instrument, error) {
		return at.open(c.Context(), o)
	})
	if err != nil {
		return err
	}
	if c.Context().Err() != nil {
		return context.Canceled
	}
	sumUp(out, report)
	if !report.OK() {
		return status(Fails)
	}
	return nil
}

func sampleText(s reading.Sample) string {
	name := s.Quantity.String()
	if s.Channel != "" {
		name = s.Channel + " " + name
	}
	if !s.Good() {
		return name + " unusable: " + s.Fault
	}
	return fmt.Sprintf("%s %s %s", name, s.Text, s.Unit)
}

func sumUp(w io.Writer, r instrument.Report) {
	fmt.Fprintf(w, "\n%s on %s", r.Profile, r.Port)
	if r.Identity != "" {
		fmt.Fprintf(w, ": %s", strconv.Quote(r.Identity))
	}
	fmt.Fprintf(w, "\n%d lines, %d bad, %d comments, %d skipped\n", r.Lines, r.Counters.Bad, r.Comment, r.Skipped)
	for _, s := range r.Seen {
		fmt.Fprintf(w, "  %s (%d good, %d unusable)\n", sampleText(s.Last), s.Good, s.Faulty)
	}
	for _, text := range r.Queue {
		fmt.Fprintf(w, "  the meter complained: %s\n", text)
	}
	for _, text := range r.Errors {
		fmt.Fprintf(w, "  %s\n", text)
	}
	for _, text := range r.Advice {
		fmt.Fprintf(w, "hint: %s\n", text)
	}
}
