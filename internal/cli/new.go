package cli

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/file"
	"ohmkeep/internal/run/scaffold"
)

func newNew() *cobra.Command {
	o := scaffold.Usual()
	var out, fed, reels string
	var ask, force bool
	c := &cobra.Command{
		Use:   "new",
		Short: "Write a commented run file from a few flags or questions",
		Long: `New writes a valid run file with comments, to standard output or into a file. Without
flags on a terminal it asks; with flags, or with --ask=false, it does not.`,
		Example: `  ohmkeep new
  ohmkeep new --reels 4,5,4 --fed both --feed-metres 2.4 --far-metres 7.5 --out shelf.toml
  ohmkeep new --volts 12 --supply-volts 12 --supply-amps 8 > shelf.toml`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if err := settle(c, &o, fed, reels); err != nil {
				return err
			}
			if !c.Flags().Changed("ask") {
				ask = c.Flags().NFlag() == 0 && isTerminal(c.ErrOrStderr()) && isTerminal(c.InOrStdin())
			}
			if ask {
				var err error
				o, err = scaffold.Ask(c.InOrStdin(), c.ErrOrStderr(), o)
				if errors.Is(err, io.ErrUnexpectedEOF) {
					return errors.New("\nthe answers end too early; nothing is written")
				}
				if err != nil {
					return err
				}
			}
			if out == "" {
				return scaffold.Write(c.OutOrStdout(), o)
			}
			if err := (file.Output{Path: out, Kind: file.RunFile, Force: force}).Write(func(w io.Writer) error { return scaffold.Write(w, o) }); err != nil {
				return err
			}
			fmt.Fprintf(c.ErrOrStderr(), "run file: %s\nnext: ohmkeep predict %s\n", out, out)
			return nil
		},
	}
	f := c.Flags()
	f.StringVar(&out, "out", "", "write into this new file")
	addForce(c, &force)
	f.BoolVar(&ask, "ask", false, "ask for each answer")
	f.StringVar(&o.Name, "name", o.Name, "name of the run")
	f.Float64Var(&o.Volts, "volts", o.Volts, "volts that the strip is rated at")
	f.Float64Var(&o.PixelsPerMetre, "pixels-per-metre", o.PixelsPerMetre, "pixels per metre")
	f.StringVar(&reels, "reels", "5", "metres of each reel, in the order of the data")
	f.StringVar(&o.Driver, "driver", o.Driver, "linear, resistor or regulated")
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
	_ = c.RegisterFlagCompletionFunc("driver", cobra.FixedCompletions([]string{"linear", "resistor", "regulated"}, cobra.ShellCompDirectiveNoFileComp))
	return c
}

// settle reads the flags that are not plain numbers.
func settle(c *cobra.Command, o *scaffold.Options, fed, reels string) error {
	var err error
	if o.Fed, err = scaffold.ParseFed(fed); err != nil {
		return fmt.Errorf("--fed: %w", err)
	}
	o.ReelMetres = nil
	for _, text := range strings.Split(reels, ",") {
		metres, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil {
			return fmt.Errorf("--reels: %q is no length (write metres, such as 4,5,4)", text)
		}
		o.ReelMetres = append(o.ReelMetres, metres)
	}
	if c.Flags().Changed("volts") && !c.Flags().Changed("supply-volts") {
		o.SupplyVolts = o.Volts
	}
	return nil
}
