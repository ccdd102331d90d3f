package command

import (
	"context"
	"fmt"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/recorder"
	"ohmkeep/internal/store"
)

// storing is the store's writer as the recorder wants it.
type storing struct{ *store.Writer }

// qualities are those of the store; a sample that is faulty has none there.
var qualities = map[recorder.Quality]store.Quality{
	recorder.Good: 0, recorder.Overload: store.Overload, recorder.Saturated: store.Saturated, recorder.Unsettled: store.Unsettled,
}

// longestText is how long the text of a sample may be in the store, in bytes.
const longestText = 256

// Keep stores the readings of a batch in one commit. The store has no place for
// marks.
func (s storing) Keep(ctx context.Context, b recorder.Batch) error {
	samples := make([]store.Sample, 0, len(b.Readings))
	for _, x := range b.Readings {
		quality, known := qualities[x.Quality]
		if !known {
			continue
		}
		if x.Stamp.Uncertain {
			quality |= store.ClockUncertain
		}
		text := x.Text
		if text == "" {
			text = x.Raw
		}
		if err := storable(x, text); err != nil {
			return fmt.Errorf("%w: %w", recorder.ErrRefused, err)
		}
		channel, err := s.Channel(store.Channel{Run: x.Run, Probe: x.Probe, Step: x.Step, Quantity: x.Reading.Quantity,
			From: x.From, To: x.To, Unit: x.Unit, Meter: x.Meter})
		if err != nil {
			return fmt.Errorf("%w: %w", recorder.ErrRefused, err)
		}
		samples = append(samples, store.Sample{Channel: channel, Time: x.Time, Mono: x.Stamp.SinceBoot, Quality: quality, Text: text})
	}
	return s.Append(ctx, samples)
}

// storable tells why the store would never take a reading.
func storable(x recorder.Reading, text string) error {
	switch {
	case !reading.Storable(x.Time):
		return fmt.Errorf("%v cannot be stored", x.Time)
	case len(text) > longestText:
		return fmt.Errorf("a number of %d digits cannot be stored", len(text))
	case !x.Quality.Measured():
		return nil
	}
	_, err := reading.Value(x.Reading.Quantity, text, x.Unit)
	return err
}
