package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ohmkeep/internal/file"
	"ohmkeep/internal/instrument/find"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/scaffold"
)

func newNew() *cobra.Command {
	o := scaffold.Usual()
	var out, fed, reels string
	var ask, force bool
	var search []string
	c := &cobra.Command{
		Use:   "new",
		Short: "Write a commented run file from a few flags or questions",
		Long: `New writes a valid run file with comments. Where no flag describes the run, on a terminal,
it asks, at last for the file to write; with such flags, or with --ask=false, it does not,
and prints the run file where --out names none.`,
		Example: `  ohmkeep new
  ohmkeep new --reels 4,5,4 --fed both --feed-metres 2.4 --far-metres 7.5 --out shelf.toml
  ohmkeep new --volts 12 --supply-volts 12 --supply-amps 8 > shelf.toml`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if err := parseOptions(c, &o, fed, reels); err != nil {
				return err
			}
			if !c.Flags().Changed("ask") {
				ask = !anyDescription(c) && isTerminal(c.ErrOrStderr()) && isTerminal(c.InOrStdin())
			}
			if ask {
				questions := scaffold.NewQuestions(c.InOrStdin(), c.ErrOrStderr())
				var err error
				o, err = questions.Options(o)
				if err == nil && out == "" {
					out, err = questions.File(fileName(o.Name), func(path string) error {
						if path == "-" {
							return nil
						}
						return file.Output{Path: path, Kind: file.RunFile, Force: force}.Check()
					})
				}
				if errors.Is(err, io.ErrUnexpectedEOF) {
					return errors.New("\nthe answers end too early; nothing is written")
				}
				if err != nil {
					return err
				}
			}
			if len(search) > 0 {
				if err := addFoundProbes(c, &o, search); err != nil {
					return err
				}
			}
			if out == "" || out == "-" {
				return scaffold.Write(c.OutOrStdout(), o)
			}
			var text bytes.Buffer
			if err := scaffold.Write(&text, o); err != nil {
				return err // of the run, not of the file
			}
			if err := (file.Output{Path: out, Kind: file.RunFile, Force: force}).Write(func(w io.Writer) error { _, err := text.WriteTo(w); return err }); err != nil {
				return err
			}
			fmt.Fprintf(c.ErrOrStderr(), "run file: %s\nnext: ohmkeep predict %s\n", out, out)
			return nil
		},
	}
	f := c.Flags()
	f.StringVar(&out, "out", "", "write into this new file")
	addForce(c, &force)
	addFind(c, &search, "add the meters and boards that are found at the serial ports, as by probe find; --find=PORT searches one port")
	f.BoolVar(&ask, "ask", false, "ask for each answer")
	f.StringVar(&o.Name, "name", o.Name, "name of the run")
	f.StringVar(&o.For, "for", "", "for whom it is built; a report says so")
	f.StringVar(&o.Place, "place", "", "where it is")
	f.StringVar(&o.Installer, "installer", "", "who builds it")
	f.Float64Var(&o.Volts, "volts", o.Volts, "volts that the strip is rated at")
	f.Float64Var(&o.PixelsPerMetre, "pixels-per-metre", o.PixelsPerMetre, "pixels per metre")
	f.StringVar(&reels, "reels", "5", "metres of each reel, in the order of the data")
	f.StringVar(&o.Driver, "driver", o.Driver, strings.Join(scaffold.Drivers, ", "))
	f.IntVar(&o.LEDs, "leds", o.LEDs, "LEDs in a row on each channel; 0 = not known")
	f.BoolVar(&o.White, "white", o.White, "each pixel has a white channel")
	f.Float64Var(&o.ChannelMilliamps, "channel-milliamps", o.ChannelMilliamps, "one channel of one pixel, fully on")
	f.Float64Var(&o.IdleMilliamps, "idle-milliamps", o.IdleMilliamps, "one pixel, dark")
	f.Float64Var(&o.LoopMilliohms, "loop-milliohms", o.LoopMilliohms, "milliohms per metre of strip, both rails; 0 = not known")
	f.Float64Var(&o.SupplyVolts, "supply-volts", o.SupplyVolts, "volts of the supply, as trimmed")
	f.Float64Var(&o.SupplyAmps, "supply-amps", o.SupplyAmps, "amps that the supply is rated at")
	f.StringVar(&fed, "fed", o.Fed.String(), "where it is fed: "+strings.Join(scaffold.FedNames, ", "))
	f.Float64Var(&o.FeedMetres, "feed-metres", o.FeedMetres, "cable to where it meets the strip, one way")
	f.Float64Var(&o.FarMetres, "far-metres", o.FarMetres, "cable to the far end, one way, with --fed both")
	f.StringVar(&o.Conductor, "conductor", o.Conductor, `conductor of the feeds, such as "18 AWG" or "0.75 mm2"`)
	f.StringVar(&o.Material, "material", o.Material, "copper, cca or aluminium")
	f.BoolVar(&o.Fine, "fine", o.Fine, "the conductor is finely stranded")
	_ = c.RegisterFlagCompletionFunc("fed", cobra.FixedCompletions(scaffold.FedNames, cobra.ShellCompDirectiveNoFileComp))
	_ = c.RegisterFlagCompletionFunc("driver", cobra.FixedCompletions(scaffold.Drivers, cobra.ShellCompDirectiveNoFileComp))
	return c
}

// addFoundProbes searches the serial ports and adds the devices that were found.
func addFoundProbes(c *cobra.Command, o *scaffold.Options, search []string) error {
	usual, err := find.Usual()
	if err != nil {
		return err
	}
	r := &run.Run{}
	list, err := searchPorts(c, r, named(search), usual)
	if err != nil {
		return err
	}
	for _, f := range list {
		if f.Profile == nil {
			fmt.Fprint(c.ErrOrStderr(), unknownText(f, usual))
			continue
		}
		p := probeOf(f, r)
		o.Probes, r.Probes = append(o.Probes, p), append(r.Probes, run.Probe{Name: p.Name, Port: p.Port})
	}
	return nil
}

// anyDescription reports whether a flag describes the run.
func anyDescription(c *cobra.Command) (yes bool) {
	c.Flags().Visit(func(f *pflag.Flag) { yes = yes || !slices.Contains([]string{"out", "force", "find"}, f.Name) })
	return yes
}

// fileName returns the name of a run's file: "Wine rack" is in wine-rack.toml.
func fileName(name string) string {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	if len(words) == 0 {
		return "run.toml"
	}
	return strings.Join(words, "-") + ".toml"
}

// parseOptions parses the flags that are not plain numbers.
func parseOptions(c *cobra.Command, o *scaffold.Options, fed, reels string) error {
	var err error
	if o.Fed, err = scaffold.ParseFed(fed); err != nil {
		return fmt.Errorf("--fed: %w", err)
	}
	if o.ReelMetres, err = scaffold.ParseLengths(reels); err != nil {
		return fmt.Errorf("--reels: %w", err)
	}
	if c.Flags().Changed("volts") && !c.Flags().Changed("supply-volts") {
		o.SupplyVolts = o.Volts
	}
	return nil
}
