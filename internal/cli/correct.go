package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/storage"
)

func newStoreCorrect() *cobra.Command {
	var in string
	c := &cobra.Command{
		Use:   "correct RUN",
		Short: "Apply the shunts that the run file states now to earlier register counts",
		Long: `Of a board that sends register words or counts a store keeps those, and the value of
one count. If a shunt was stated wrongly, put the right one into the run file
(shunt_milliohms of the channel) or the profile, and correct: the values of earlier
readings then follow from it, in exports and everywhere else. The counts stay as they
are, so that correcting again, or back, loses nothing.

A sensor that was replaced by one with another shunt needs no correction: the
values of the old one were right. Numbers that a device sends in V or A are not touched.`,
		Example:           `  ohmkeep store correct shelf.toml --store shelf.db`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, in); err != nil {
				return err
			}
			r, err := loadRun(args[0])
			if err != nil {
				return err
			}
			if err := checkStoreExists(in); err != nil {
				return err
			}
			s, err := store.Open(in)
			if err != nil {
				return err
			}
			n, err := correct(c, s, r)
			if closing := s.Close(); err == nil {
				err = closing
			}
			if err == nil && n == 0 {
				fmt.Fprintf(c.OutOrStdout(), "%s: nothing to correct\n", in)
			}
			return err
		},
	}
	c.Flags().StringVar(&in, "store", "", "the store, a file")
	return c
}

// correct applies the scales of a run to the stored counts and prints what changed.
func correct(c *cobra.Command, s *store.Store, r *runWithProfiles) (corrected int, err error) {
	for i, p := range r.Probes {
		for _, channel := range p.Channels {
			perCount, ok := perCountOf(r.profiles[i], channel)
			if !ok || channel.From == "" {
				continue
			}
			scale := storage.ScaleText(perCount)
			if scale == "" {
				return corrected, fault.Fault{File: r.File, Key: "probe " + p.Name + ": channel " + channel.ID,
					Text: fmt.Sprintf("a count cannot stand for %g", perCount)}
			}
			were, err := s.CorrectAll(c.Context(), store.Selection{Run: r.Name, Probe: &p.Name, Quantity: &channel.Quantity,
				From: channel.From, To: channel.To}, scale)
			if err != nil {
				return corrected, err
			}
			reported := map[string]bool{}
			for _, was := range were {
				if !reported[was.Scale] {
					reported[was.Scale] = true
					fmt.Fprintf(c.OutOrStdout(), "probe %s, channel %s, %s: one count is %s %s, was %s\n", p.Name, channel.ID, channel.Quantity,
						scale, was.Unit, was.Scale)
				}
			}
			corrected += len(were)
		}
	}
	return corrected, nil
}

// perCountOf returns the SI value of one count of a channel. ok is false if the device sends no
// counts, or if only the kernel uses the shunt.
func perCountOf(p *profile.Profile, channel run.ProbeChannel) (perCount float64, ok bool) {
	for _, f := range p.Line.Fields {
		if !f.Counts || f.Quantity != channel.Quantity || f.IsFlags() {
			continue
		}
		if channel.Shunt > 0 && f.Shunt > 0 && channel.Shunt != f.Shunt {
			return f.PerCount * (f.Shunt / channel.Shunt), true // as the board's values are corrected when they come
		}
		return f.PerCount, true
	}
	return 0, false
}
