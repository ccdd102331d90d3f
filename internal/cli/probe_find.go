package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/instrument/find"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/scaffold"
)

func newProbeFind() *cobra.Command {
	var ports []string
	var seconds float64
	var listenOnly bool
	c := &cobra.Command{
		Use:   "find [RUN]",
		Short: "Find out what is connected to the serial ports, and print its lines for the run file",
		Long: `Find listens to each serial port with the rates and parities of the shipped profiles and
prints what seems to be there as [[probe]] lines, to be put at the end of the run file.
Nothing is written to a port that sends by itself. A port from which nothing is received
is asked for the identity of a meter and for the registers of a Modbus slave (addresses 1
to 3), unless --listen-only is given. A device that sends more seldom than --seconds is
taken for silent: use --listen-only, or a longer time, where a port may lead to a machine
that must not be disturbed. Opening a port raises its DTR line, which resets many boards.

What is found is a guess, and says so. With RUN, ports that the run file names are left
out, and no name is used twice.

Exit status: 0 something was found, 1 nothing, 2 the call is wrong.`,
		Example: `  ohmkeep probe find
  ohmkeep probe find shelf.toml
  ohmkeep probe find --port /dev/ttyUSB0 --seconds 10 --listen-only`,
		Args: argsFrom(0, "RUN"),
		RunE: func(c *cobra.Command, args []string) error {
			if !(seconds > 0 && seconds <= 3600) {
				return callFault(c, "--seconds %g is not between 0 and 3600", seconds)
			}
			o, err := find.Usual()
			if err != nil {
				return err
			}
			o.Listen, o.Ask = time.Duration(seconds*float64(time.Second)), !listenOnly
			r := &run.Run{}
			if len(args) == 1 {
				loaded, err := loadRun(args[0])
				if err != nil {
					return err
				}
				r = loaded.Run
			}
			return printFound(c, r, ports, o)
		},
	}
	c.Flags().StringArrayVar(&ports, "port", nil, "search only this port; may be given again")
	c.Flags().Float64Var(&seconds, "seconds", 1.5, "how long to listen with each rate")
	c.Flags().BoolVar(&listenOnly, "listen-only", false, "write nothing to any port")
	return c
}

// allPorts is the value of --find without a port.
const allPorts = "all"

// addFind adds the flag by which a command searches serial ports.
func addFind(c *cobra.Command, ports *[]string, about string) {
	c.Flags().StringArrayVar(ports, "find", nil, about)
	c.Flags().Lookup("find").NoOptDefVal = allPorts
}

// named returns the ports that --find names; none for all of them.
func named(search []string) []string {
	if slices.Contains(search, allPorts) {
		return nil
	}
	return search
}

// printFound searches ports and prints what was found.
func printFound(c *cobra.Command, r *run.Run, ports []string, o find.Options) error {
	list, err := searchPorts(c, r, ports, o)
	if err != nil {
		return err
	}
	known := 0
	for i, f := range list {
		if i > 0 {
			fmt.Fprintln(c.OutOrStdout())
		}
		text := unknownText(f, o)
		if f.Profile != nil {
			known++
			text = probeOf(f, r).String()
			r.Probes = append(r.Probes, run.Probe{Name: nameFor(f.Profile, r), Port: f.Port})
		}
		if _, err := fmt.Fprint(c.OutOrStdout(), text); err != nil {
			return err
		}
	}
	if known == 0 {
		return status(Fails)
	}
	return nil
}

// searchPorts searches the given ports, or all of the machine that the run file does not name.
func searchPorts(c *cobra.Command, r *run.Run, ports []string, o find.Options) ([]find.Found, error) {
	if len(ports) == 0 {
		all, err := port.List()
		if err != nil {
			return nil, err
		}
		for _, p := range all {
			if !namesPort(r, p.Name) {
				ports = append(ports, p.Name)
			}
		}
	}
	if len(ports) == 0 {
		fmt.Fprintln(c.ErrOrStderr(), "no serial port was found that the run file does not name: plug the meter's or board's cable in and ask again")
		return nil, nil
	}
	fmt.Fprintf(c.ErrOrStderr(), "searching %s …\n", count(len(ports), "port"))
	list := find.Ports(c.Context(), ports, o)
	if c.Context().Err() != nil {
		return nil, context.Canceled
	}
	return list, nil
}

func namesPort(r *run.Run, path string) bool {
	for _, p := range r.Probes {
		if p.Port == path {
			return true
		}
	}
	return false
}

// unknownText says in comments of a run file what is at a port that no profile reads.
func unknownText(f find.Found, o find.Options) string {
	line, isText := f.Text()
	switch {
	case f.Err != nil:
		return fmt.Sprintf("# %s: not searched: %v\n", f.Port, f.Err)
	case isText:
		return fmt.Sprintf("# %s: something sends lines that no profile reads, such as %q at %d baud.\n# A profile for it is one file: go doc ./probes\n", f.Port, line, f.Settings.Baud)
	case len(f.Received) > 0:
		return fmt.Sprintf("# %s: something sends %d bytes that no profile reads at its rate, such as % X.\n", f.Port, len(f.Received), f.Received[:min(8, len(f.Received))])
	case !o.Ask:
		return fmt.Sprintf("# %s: nothing was received, and it was not asked.\n", f.Port)
	}
	return fmt.Sprintf("# %s: nothing was received, and nothing answered. Is it powered, and set to send?\n", f.Port)
}

// probeOf returns what was found as a probe of a run file.
func probeOf(f find.Found, r *run.Run) scaffold.Probe {
	p := scaffold.Probe{Name: nameFor(f.Profile, r), Profile: f.Profile.Name, Port: f.Port, Slave: f.Slave}
	what := "This seems to be: " + f.Profile.Title
	switch {
	case f.Profile.Kind.SendsByItself():
		what += fmt.Sprintf(" (%d lines or pictures received, %d bad)", f.Lines, f.Bad)
	case f.Slave > 0:
		what += fmt.Sprintf(" (slave %d answers)", f.Slave)
	default:
		what += fmt.Sprintf(" (it says it is %q)", f.Identity)
	}
	p.Notes = append(p.Notes, what+".")
	if !f.Certain() {
		p.Notes = append(p.Notes, "That is a guess: look at it with \"ohmkeep probe check\" before you use it.")
	}
	if f.SettingsDiffer() {
		p.Notes = append(p.Notes, fmt.Sprintf("It sends at %d baud: copy the profile to a file of your own and change its port.", f.Settings.Baud))
	}
	for _, s := range f.Samples {
		ch := scaffold.Channel{ID: s.Channel, Quantity: s.Quantity}
		switch {
		case s.Good() && s.Text != "":
			ch.Shown = s.Text + " " + s.Unit
		case !s.Good():
			ch.Shown = s.Fault
		}
		p.Channels = append(p.Channels, ch)
	}
	return p
}

// nameFor returns a probe's name that the run file does not use yet.
func nameFor(p *profile.Profile, r *run.Run) string {
	base := map[profile.Kind]string{profile.Handheld: "hand meter", profile.SCPI: "meter", profile.Modbus: "module"}[p.Kind]
	if base == "" {
		base = "board"
	}
	name := base
	for n := 2; usesName(r, name); n++ {
		name = fmt.Sprintf("%s %d", base, n)
	}
	return name
}

func usesName(r *run.Run, name string) bool {
	for _, p := range r.Probes {
		if strings.EqualFold(p.Name, name) {
			return true
		}
	}
	return false
}
