package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/transcript"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/watch/probe"
)

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
				return fileError(err)
			}
			if !p.Kind.Recordable() {
				return callFault(c, "profile %s reads no lines of text, and only those are replayed", p.Name)
			}
			return replay(c, args[0], t, p, paced, asJSON)
		},
	}
	c.Flags().StringVar(&named, "profile", "", "read it by this profile, by name or as a .toml file")
	c.Flags().BoolVar(&paced, "real-time", false, "at the recorded speed")
	c.Flags().BoolVar(&asJSON, "json", false, "one JSON object a sample")
	completeProfiles(c)
	return c
}

// unanswered is how many queries may fail before a replay ends with an error: the
// transcript then holds other queries.
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

func printSample(w io.Writer, s reading.Sample, asJSON bool) error {
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
