package command

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/profile"
)

func newProbe() *cobra.Command {
	c := &cobra.Command{
		Use:   "probe",
		Short: "List device profiles, and check what a meter or board says",
		Example: `  ohmkeep probe list
  ohmkeep probe check shelf.toml board`,
	}
	c.AddCommand(newProbeList(), newProbeCheck())
	return c
}

func newProbeList() *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the device profiles that come with ohmkeep",
		Example: `  ohmkeep probe list`,
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			for _, name := range profile.Names() {
				p, err := profile.Load(name, "")
				if err != nil {
					return err
				}
				_, err = fmt.Fprintf(c.OutOrStdout(), "%-18s %-6s %6d baud  %s\n", p.Name, p.Kind, p.Port.Baud, p.Title)
				if err != nil {
					return err
				}
			}
			return nil
		},
	}
}

func newProbeCheck() *cobra.Command {
	var profileName, path string
	var seconds float64
	c := &cobra.Command{
		Use:   "check [RUN PROBE]",
		Short: "Show what a port says and what of it is understood",
		Long: `Check opens one probe, of a run file or given by profile and port, listens or asks for
a while, shows each line as it comes, and sums up what was understood.

Exit status: 0 something was understood and nothing was bad, 1 otherwise, 2 the call
is wrong or the port does not open.`,
		Example: `  ohmkeep probe check shelf.toml board
  ohmkeep probe check --profile plain-lines --port /dev/ttyUSB0 --seconds 5`,
		Args: between(0, "RUN", "PROBE"),
		RunE: func(c *cobra.Command, args []string) error {
			dir := "."
			if len(args) == 1 {
				return callFault(c, "wants RUN and PROBE, or --profile and --port")
			}
			if len(args) == 2 {
				var err error
				if profileName, path, err = probeOfRun(args[0], args[1]); err != nil {
					return err
				}
				dir = filepath.Dir(args[0])
			}
			if profileName == "" || path == "" {
				return callFault(c, "wants RUN and PROBE, or --profile and --port")
			}
			p, err := profile.Load(profileName, dir)
			if err != nil {
				return reason(err)
			}
			return checkProbe(c, p, path, time.Duration(seconds*float64(time.Second)))
		},
	}
	c.Flags().StringVar(&profileName, "profile", "", "a device profile, by name or as a .toml file")
	c.Flags().StringVar(&path, "port", "", "the serial port, best under /dev/serial/by-id")
	c.Flags().Float64Var(&seconds, "seconds", 3, "how long to listen or ask")
	_ = c.RegisterFlagCompletionFunc("profile", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return profile.Names(), cobra.ShellCompDirectiveDefault
	})
	return c
}

func probeOfRun(file, name string) (profileName, path string, err error) {
	r, err := loadRun(file)
	if err != nil {
		return "", "", err
	}
	var names []string
	for _, p := range r.Probes {
		if p.Name == name {
			return p.Profile, p.Port, nil
		}
		names = append(names, p.Name)
	}
	return "", "", fault.Fault{File: file, Text: fmt.Sprintf("no probe is named %q", name), Hint: fault.Suggest(name, names)}
}

func checkProbe(c *cobra.Command, p *profile.Profile, path string, d time.Duration) error {
	out := c.OutOrStdout()
	begun := time.Now()
	report, err := instrument.Check(c.Context(), p, path, d, instrument.Options{Log: func(e instrument.Event) {
		fmt.Fprintf(out, "%7.3f  %-8s %s", e.Time.Sub(begun).Seconds(), e.Kind, strconv.Quote(e.Text))
		for _, s := range e.Samples {
			fmt.Fprintf(out, "  → %s", sampleText(s))
		}
		if e.Reason != "" {
			fmt.Fprintf(out, "  (%s)", e.Reason)
		}
		fmt.Fprintln(out)
	}})
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

func sampleText(s instrument.Sample) string {
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
