package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/transcript"
	"ohmkeep/internal/watch/probe"
)

func newProbeRecord() *cobra.Command {
	var at portFlags
	var out string
	var force bool
	c := &cobra.Command{
		Use:   "record [RUN PROBE] --out FILE",
		Short: "Record what a port sends in a transcript",
		Long: `Record opens one probe as check does, and writes all lines in both directions to a
text file, with times, garbage included. Such a transcript can be replayed, and it can
be named in a run file as port = "transcript:FILE".

Exit status: 0 something was received, 1 nothing was, 2 the call is wrong or the port
does not open.`,
		Example: `  ohmkeep probe record shelf.toml board --seconds 60 --out board.txt
  ohmkeep probe record --profile plain-lines --port /dev/ttyUSB0 --out -`,
		Args:        argsFrom(0, "RUN", "PROBE"),
		Annotations: map[string]string{finishes: "writes what has arrived"},
		RunE: func(c *cobra.Command, args []string) error {
			found, err := at.find(c, args)
			if err != nil {
				return err
			}
			if out == "" {
				return callFault(c, "wants --out FILE")
			}
			if !found.profile.Kind.Recordable() {
				return callFault(c, "profile %s reads no lines of text, and only those are recorded", found.profile.Name)
			}
			return recordProbe(c, found, out, force, append(found.inputs(), args[:min(1, len(args))]...))
		},
	}
	at.add(c, 60, "how long to listen or ask; it can be stopped before")
	c.Flags().StringVar(&out, "out", "", "the transcript to write; - is standard output")
	addForce(c, &force)
	return c
}

func recordProbe(c *cobra.Command, at *openableProbe, path string, force bool, inputs []string) error {
	var out io.WriteCloser = nopCloser{c.OutOrStdout()}
	if path != "-" {
		if err := (file.Output{Path: path, Kind: file.Transcript, Force: force, Inputs: inputs}).Check(); err != nil {
			return err
		}
		made, err := os.Create(path)
		if err != nil {
			return fileError(err)
		}
		out = made
	}
	w := transcript.NewWriter(out, probe.Head(at.Probe, at.profile, time.Now()))
	counters, err := recordLines(c.Context(), at, w)
	for _, ended := range []error{w.Close(), out.Close()} {
		if err == nil && ended != nil {
			err = fmt.Errorf("%s: %w", path, fault.Cause(ended))
		}
	}
	if err != nil {
		if counters.Lines == 0 && path != "-" {
			_ = os.Remove(path) // nothing is in it
		}
		return err
	}
	fmt.Fprintf(c.ErrOrStderr(), "%s: %s, %d bad\n", path, count(int(counters.Lines), "line"), counters.Bad)
	if counters.Lines == 0 {
		return status(Fails)
	}
	return nil
}

type nopCloser struct{ io.Writer }

func (nopCloser) Close() error { return nil }

// recordLines writes the lines of a probe until the time is over or the program is stopped.
func recordLines(ctx context.Context, at *openableProbe, w *transcript.Writer) (instrument.Counters, error) {
	device, err := at.open(ctx, instrument.Options{Log: probe.Record(w, at.profile)})
	if err != nil {
		return instrument.Counters{}, err
	}
	ctx, stop := context.WithTimeout(ctx, at.lasting)
	defer stop()
	for ctx.Err() == nil {
		if _, err = device.Next(ctx); instrument.Ended(err) {
			break
		}
	}
	if ctx.Err() != nil {
		err = nil
	}
	if closing := device.Close(); err == nil && !instrument.Ended(closing) {
		err = closing
	}
	return device.Counters(), err
}
