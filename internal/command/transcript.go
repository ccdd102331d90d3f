package command

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/probe"
	"ohmkeep/internal/profile"
	"ohmkeep/internal/transcript"
)

func newProbeRecord() *cobra.Command {
	var at portFlags
	var out string
	var seconds float64
	c := &cobra.Command{
		Use:   "record [RUN PROBE] --out FILE",
		Short: "Write what a port says into a transcript",
		Long: `Record opens one probe as check does, and writes all that is said into a text file,
with times, both ways, garbage included. Such a transcript can be replayed, and it can
stand in a run file as port = "transcript:FILE".

Exit status: 0 something was heard, 1 nothing was, 2 the call is wrong or the port
does not open.`,
		Example: `  ohmkeep probe record shelf.toml board --seconds 60 --out board.txt
  ohmkeep probe record --profile plain-lines --port /dev/ttyUSB0 --out -`,
		Args: between(0, "RUN", "PROBE"),
		RunE: func(c *cobra.Command, args []string) error {
			found, err := at.find(c, args)
			if err != nil {
				return err
			}
			d, err := lasting(c, seconds)
			if err != nil {
				return err
			}
			if out == "" {
				return callFault(c, "wants --out FILE")
			}
			if found.profile.Kind == profile.Hwmon {
				return callFault(c, "profile %s has no wire: what the kernel's files say is not recorded", found.profile.Name)
			}
			return recordProbe(c, found, d, out)
		},
	}
	at.add(c)
	c.Flags().StringVar(&out, "out", "", "the transcript to write, which must not exist; - is standard output")
	c.Flags().Float64Var(&seconds, "seconds", 60, "how long to listen or ask; it can be stopped before")
	return c
}

func recordProbe(c *cobra.Command, at *found, d time.Duration, path string) error {
	file := nopCloser{c.OutOrStdout()}
	var out io.WriteCloser = file
	if path != "-" {
		made, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if errors.Is(err, fs.ErrExist) {
			return fault.Fault{File: path, Text: "is there already", Hint: "name another file"}
		} else if err != nil {
			return reason(err)
		}
		out = made
	}
	var channels []instrument.Channel
	if at.profile.Kind == profile.SCPI {
		for _, x := range at.Channels {
			channels = append(channels, instrument.Channel{ID: x.ID, Quantity: x.Quantity})
		}
	}
	head := probe.Head(at.profile, at.Port, channels, time.Now())
	head.Profile = at.Profile // as it was named, so that a file is found again
	w := transcript.NewWriter(out, head)
	counters, err := hear(c.Context(), at, d, w)
	for _, ended := range []error{w.Close(), out.Close()} {
		if err == nil && ended != nil {
			err = fmt.Errorf("%s: %w", path, bare(ended))
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

// hear writes what a probe says until the time is over or the program is stopped.
func hear(ctx context.Context, at *found, d time.Duration, w *transcript.Writer) (instrument.Counters, error) {
	device, err := at.open(ctx, instrument.Options{Log: probe.Record(w, at.profile)})
	if err != nil {
		return instrument.Counters{}, err
	}
	ctx, stop := context.WithTimeout(ctx, d)
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

func newProbeReplay() *cobra.Command {
	var named string
	var paced, asJSON bool
	c := &cobra.Command{
		Use:   "replay TRANSCRIPT",
		Short: "Read a transcript as if it came from a port, and print the samples",
		Long: `Replay gives a transcript to the same code that reads a port, as fast as it can or as
slowly as it was heard, and prints each sample with the time that the transcript has.

Exit status: 0 something was understood and nothing was bad, 1 otherwise, 2 the call
or the transcript is wrong.`,
		Example: `  ohmkeep probe replay board.txt
  ohmkeep probe replay board.txt --profile own.toml --json
  ohmkeep probe replay board.txt --real-time`,
		Args: exactly("TRANSCRIPT"),
		RunE: func(c *cobra.Command, args []string) error {
			t, err := probe.ReadTranscript(args[0])
			if err != nil {
				return err
			}
			name := named
			if name == "" {
				name = t.Profile
			}
			if name == "" {
				return fault.Fault{File: args[0], Text: "names no profile", Hint: "give one with --profile"}
			}
			p, err := profile.Load(name, ".")
			if err != nil {
				return reason(err)
			}
			if p.Kind == profile.Hwmon {
				return callFault(c, "profile %s has no wire to replay", p.Name)
			}
			return replay(c, args[0], t, p, paced, asJSON)
		},
	}
	c.Flags().StringVar(&named, "profile", "", "read it by this profile, by name or as a .toml file")
	c.Flags().BoolVar(&paced, "real-time", false, "as slowly as it was heard")
	c.Flags().BoolVar(&asJSON, "json", false, "one JSON object a sample")
	completeProfiles(c)
	return c
}

// unanswered is how many questions may fail before a replay is given up: the
// transcript is of a meter that was asked otherwise.
const unanswered = 3

func replay(c *cobra.Command, name string, t *transcript.Transcript, p *profile.Profile, paced, asJSON bool) error {
	var notes []instrument.Event
	o := instrument.Options{Log: func(e instrument.Event) {
		if e.Kind == instrument.Bad && len(notes) < 10 {
			notes = append(notes, e)
		}
	}}
	device, err := probe.Replay(c.Context(), t, p, paced, o)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	defer device.Close()
	good, other, failed := 0, 0, 0
	for failed < unanswered {
		s, err := device.Next(c.Context())
		if errors.Is(err, instrument.ErrAsked) {
			return fault.Fault{File: name, Text: "says no # channel: that profile " + p.Name + " could be asked for", Hint: "such as # channel: 1 voltage"}
		} else if instrument.Ended(err) {
			break // the transcript's end
		}
		if c.Context().Err() != nil {
			return context.Canceled
		}
		if err != nil {
			fmt.Fprintln(c.ErrOrStderr(), err)
			failed++
			continue
		}
		if s.Good() {
			good++
		} else {
			other++
		}
		if err := printSample(c.OutOrStdout(), s, asJSON); err != nil {
			return err
		}
	}
	pieces := 0
	for _, e := range t.Entries {
		if e.Mark == transcript.Piece {
			pieces++
		}
	}
	counters := device.Counters()
	for _, e := range notes {
		fmt.Fprintf(c.ErrOrStderr(), "bad %s (%s)\n", strconv.Quote(e.Text), e.Reason)
	}
	fmt.Fprintf(c.ErrOrStderr(), "%s by profile %s: %s, %d bad, %s; %d good, %d not\n", name, p.Name,
		count(int(counters.Lines), "line"), counters.Bad, count(pieces, "piece"), good, other)
	if good == 0 || counters.Bad > 0 || failed > 0 {
		return status(Fails)
	}
	return nil
}

// shownSample is a sample as --json writes it.
type shownSample struct {
	Time     time.Time `json:"time"`
	Channel  string    `json:"channel"`
	Quantity string    `json:"quantity"`
	Value    string    `json:"value,omitempty"`
	Unit     string    `json:"unit,omitempty"`
	Quality  string    `json:"quality"`
	Raw      string    `json:"raw"`
	Serial   string    `json:"serial,omitempty"`
	Fault    string    `json:"fault,omitempty"`
}

func printSample(w io.Writer, s instrument.Sample, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(w).Encode(shownSample{Time: s.Time, Channel: s.Channel, Quantity: s.Quantity.String(),
			Value: s.Text, Unit: s.Unit, Quality: s.Quality.String(), Raw: s.Raw, Serial: s.Serial, Fault: s.Fault})
	}
	text := s.Text + " " + s.Unit
	if !s.Good() {
		text = s.Quality.String() + " (" + s.Fault + ")"
	}
	_, err := fmt.Fprintf(w, "%s  %-8s %-12s %s\n", s.Time.Format("2006-01-02T15:04:05.000000Z07:00"), s.Channel, s.Quantity, text)
	return err
}
