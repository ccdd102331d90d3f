package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/compare"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/probe"
)

func newProbeCompare() *cobra.Command {
	var quantity string
	c := &cobra.Command{
		Use:   "compare RUN INSTRUMENT REFERENCE",
		Short: "Compare two instruments at the same place, and print the correction of one",
		Long: `Compare reads the same place with two instruments at several loads, and works out gain and
offset of INSTRUMENT against REFERENCE with their 95 % intervals. Each is a probe of the
run file, or one of its meters, whose values are typed. A clamp is often the weakest
instrument: compare it with a meter in series, or with a clamp that was calibrated.

Set a load, let it settle, press Enter; then another load. Three loads or more, far apart,
tell the gain from the offset. The answer "d", or end of input, ends the comparison. What
is printed is the [[meter]] for the run file with the correction, and with the accuracy
that remains: that of the reference and what the comparison left open. It holds
on the range of the instrument that was read, and between the lowest and the highest
reading; a clamp's offset changes with its place, its jaws and its battery.

The run's low voltage does not shock but its current burns: no rings, no bridged leads.
Disconnect the supply before you put a meter in series with a feed, use its 10 A or 20 A
socket within the rating of its fuse, and put the leads back before you read volts. Leads
and clamp are rated for what they touch; never open a current while it flows.

Exit status: 0 both agree within their accuracies, 1 they do not, 2 the call is wrong, 3
not enough readings to decide.`,
		Example: `  ohmkeep probe compare shelf.toml clamp bench
  ohmkeep probe compare shelf.toml "hand meter" bench --quantity voltage`,
		Args: argsFrom(3, "RUN", "INSTRUMENT", "REFERENCE"),
		ValidArgsFunction: func(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return completeRuns(c, args, typed)
		},
		RunE: func(c *cobra.Command, args []string) error {
			q := slices.Index(run.QuantityNames, quantity)
			if q < 0 {
				return fault.Fault{Key: "--quantity", Text: fmt.Sprintf("%q is not a quantity", quantity), Hint: fault.Suggest(quantity, run.QuantityNames)}
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			return compareInstruments(c, r, args, run.Quantity(q))
		},
	}
	c.Flags().StringVar(&quantity, "quantity", "current", strings.Join(run.QuantityNames, ", "))
	return c
}

// compared is one of two instruments at the same place: a probe, or a meter whose values are typed.
type compared struct {
	name    string
	meter   run.Meter
	device  instrument.Instrument // nil: its values are typed
	channel string
}

func compareInstruments(c *cobra.Command, r *runWithProfiles, args []string, q run.Quantity) error {
	if args[1] == args[2] {
		return callFault(c, "wants two instruments, not %q twice", args[1])
	}
	in := bufio.NewReader(c.InOrStdin())
	var both [2]*compared
	for i, name := range args[1:] {
		x, err := openCompared(c.Context(), r, args[0], name, q)
		if err != nil {
			return err
		}
		if x.device != nil {
			defer x.device.Close()
		}
		both[i] = x
	}
	var pairs []compare.Pair
	for {
		answer, err := askLine(c, in, fmt.Sprintf("Load %d: set it, let it settle, then Enter (d = done): ", 1+len(pairs)/readingsAtLoad))
		if err == io.EOF || err == nil && answer == "d" {
			break
		} else if err != nil {
			return err
		}
		more, err := readPairs(c, in, both, q)
		if err == io.EOF {
			break
		} else if err != nil {
			return err
		}
		pairs = append(pairs, more...)
	}
	return printComparison(c, r, both, pairs)
}

// openCompared opens a probe, or returns a meter of the run file whose values are typed.
func openCompared(ctx context.Context, r *runWithProfiles, file, name string, q run.Quantity) (*compared, error) {
	var names []string
	for i, p := range r.Probes {
		names = append(names, p.Name)
		if p.Name != name {
			continue
		}
		at := slices.IndexFunc(p.Channels, func(c run.ProbeChannel) bool { return c.Quantity == q })
		if at < 0 {
			return nil, fault.Fault{File: file, Key: "probe " + name, Text: "has no channel for a " + q.String(), Hint: "--quantity names another quantity"}
		}
		p.Channels = p.Channels[at : at+1] // so that its display has to show this quantity
		device, err := (&probe.Opener{Run: r.Run, Dir: filepath.Dir(file)}).Open(ctx, p, r.profiles[i], instrument.Options{})
		if err != nil {
			return nil, fmt.Errorf("probe %s: %w", name, err)
		}
		return &compared{name: name, meter: r.Meters[p.Meter], device: device, channel: p.Channels[0].ID}, nil
	}
	for _, m := range r.OwnMeters() {
		names = append(names, m.Name)
		if m.Name == name && m.Measures(q) {
			return &compared{name: name, meter: m}, nil
		}
	}
	return nil, fault.Fault{File: file, Text: fmt.Sprintf("no probe or meter %q measures a %s", name, q), Hint: fault.Suggest(name, names)}
}

// askLine prints a question and returns the answer without spaces around it.
func askLine(c *cobra.Command, in *bufio.Reader, question string) (string, error) {
	fmt.Fprint(c.ErrOrStderr(), question)
	line, err := in.ReadString('\n')
	if line = strings.TrimSpace(line); err == io.EOF && line != "" {
		err = nil // the last line may lack its end
	}
	if err != nil {
		fmt.Fprintln(c.ErrOrStderr())
	}
	return line, err
}

// readingsAtLoad is how many pairs are read at a load by two probes. A typed value stands for all of them.
const readingsAtLoad = 3

// readPairs reads both instruments at one load. A value that does not count is printed, with the reason, and left out.
func readPairs(c *cobra.Command, in *bufio.Reader, both [2]*compared, q run.Quantity) (pairs []compare.Pair, err error) {
	for range readingsAtLoad {
		var shown [2]reading.Sample
		var failed [2]error
		var done [2]chan struct{}
		for i, x := range both {
			done[i] = make(chan struct{})
			go func() {
				defer close(done[i])
				if x.device != nil {
					shown[i], failed[i] = x.device.Measure(c.Context(), x.channel, q)
				}
			}()
		}
		<-done[0]
		<-done[1]
		typed := false
		for i, x := range both {
			if x.device == nil {
				typed = true
				shown[i], failed[i] = typeValue(c, in, x.name, q)
			}
			switch {
			case c.Context().Err() != nil:
				return nil, context.Canceled
			case errors.Is(failed[i], io.EOF):
				return pairs, io.EOF
			case failed[i] != nil:
				return nil, fmt.Errorf("%s: %w", x.name, failed[i])
			}
		}
		fmt.Fprintf(c.ErrOrStderr(), "  %s %s, %s %s\n", both[0].name, shownText(shown[0]), both[1].name, shownText(shown[1]))
		if shown[0].Good() && shown[1].Good() {
			pairs = append(pairs, compare.Pair{Compared: shown[0].Reading, Reference: shown[1].Reading})
		}
		if typed {
			break
		}
	}
	return pairs, nil
}

func shownText(s reading.Sample) string {
	if !s.Good() {
		return "left out, " + s.Fault
	}
	return s.Text + " " + s.Unit
}

// typeValue asks for what a meter shows, until the answer is a value.
func typeValue(c *cobra.Command, in *bufio.Reader, name string, q run.Quantity) (reading.Sample, error) {
	unit := reading.Unit(q)
	for {
		answer, err := askLine(c, in, fmt.Sprintf("  %s shows, in %s: ", name, unit))
		if err != nil {
			return reading.Sample{}, err
		}
		value, err := reading.Value(q, answer, unit)
		if err == nil {
			return reading.Sample{Reading: reading.Reading{Time: time.Now(), Quantity: q, Text: answer, Unit: unit, Value: value}}, nil
		}
		fmt.Fprintf(c.ErrOrStderr(), "    %v\n", err)
	}
}
