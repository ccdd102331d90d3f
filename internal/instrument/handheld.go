package instrument

import (
	"context"
	"errors"
	"math"
	"time"

	"ohmkeep/internal/instrument/characters"
	"ohmkeep/internal/instrument/display"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/segments"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// handheld is a handheld meter that sends by itself what its display shows, several times a second.
//
// Next returns every picture once, because a value may be sent once only. A flipped bit that makes one digit of another
// is not found in one picture; one such reading among many does not count, because package repeats takes the mean of
// what repeats. Measure, whose one reading counts, waits for two pictures that agree.
type handheld struct {
	tally
	profile *profile.Profile
	wire    *port.Port
	options Options
	waiting []reading.Sample // of a picture that concerns several channels
}

// chipCode is how the pictures of a chip are cut and decoded.
type chipCode struct {
	framing func() port.Framing
	decode  func(picture []byte, d profile.Display) (display.Picture, error)
}

var chipCodes = map[profile.Chip]chipCode{
	profile.FS9721: {
		framing: func() port.Framing {
			return &port.Pictures{Size: segments.Size, Ends: segments.Ends, Whole: segments.Whole}
		},
		decode: func(picture []byte, d profile.Display) (display.Picture, error) {
			return segments.Decode(picture, d.CelsiusBit)
		},
	},
	profile.ES51922: {
		framing: func() port.Framing {
			return &port.Pictures{Size: characters.Size, Ends: characters.Ends, Whole: characters.Whole, Shifts: true}
		},
		decode: func(picture []byte, _ profile.Display) (display.Picture, error) { return characters.Decode(picture) },
	},
}

// framingOf returns how the stream of a profile's device is cut.
func framingOf(p *profile.Profile) port.Framing {
	if p.Kind == profile.Handheld {
		return chipCodes[p.Display.Chip].framing()
	}
	return port.Lines(p.Port.Terminator)
}

// Identity returns "": the chips send no name.
func (h *handheld) Identity() string { return "" }

func (h *handheld) Close() error { return h.wire.Close() }

func (h *handheld) Next(ctx context.Context) (reading.Sample, error) {
	for len(h.waiting) == 0 {
		_, e, err := h.picture(ctx)
		if err != nil {
			return reading.Sample{}, err
		}
		h.waiting = e.Samples
	}
	next := h.waiting[0]
	h.waiting = h.waiting[1:]
	return next, nil
}

// picture waits for the next picture that can be read. It counts and logs every one.
func (h *handheld) picture(ctx context.Context) (display.Picture, Event, error) {
	for {
		l, err := h.wire.Line(ctx)
		if err != nil {
			return display.Picture{}, Event{}, err
		}
		e := Event{Time: l.Time, Kind: Values, Text: l.Text}
		picture, err := chipCodes[h.profile.Display.Chip].decode([]byte(l.Text), h.profile.Display)
		switch {
		case l.Fault == port.StartMissing:
			e.Kind, e.Reason, e.Incomplete = Skipped, string(l.Fault), true
		case l.Fault != "":
			e.Kind, e.Reason, e.Incomplete = Bad, string(l.Fault), true
		case err != nil:
			e.Kind, e.Reason = Bad, err.Error()
		default:
			if e.Samples = h.samples(picture, l.Time); len(e.Samples) == 0 {
				e.Reason = "the display shows " + picture.String()
			}
		}
		h.add(e.Kind)
		h.options.Log(e)
		if e.Kind == Values {
			return picture, e, nil
		}
	}
}

// samples returns what the channels get of a picture: a value where one has the shown quantity; otherwise a mark in
// each, because the meter is set to another function than the run file says.
func (h *handheld) samples(p display.Picture, at time.Time) []reading.Sample {
	channels := h.options.Channels
	shown, known := p.Quantity()
	if len(channels) == 0 && known {
		channels = []Channel{{ID: profile.DisplayChannel, Quantity: shown}}
	}
	var list []reading.Sample
	for _, c := range channels {
		if known && c.Quantity == shown {
			list = append(list, channelSample(p, c, at))
		}
	}
	if len(list) > 0 {
		return list
	}
	for _, c := range channels {
		list = append(list, channelSample(p, c, at))
	}
	return list
}

func channelSample(p display.Picture, c Channel, at time.Time) reading.Sample {
	s := p.Sample(c.Quantity)
	s.Channel, s.Time = c.ID, at
	return s
}

const (
	mostCompared  = 10          // pictures that Measure compares before it takes the display as unsettled
	nextPicture   = time.Second // in which a meter sends the next picture
	agreeingUnits = 3           // units of the last digit by which two pictures may differ
)

// Measure discards the pictures that were sent before, and returns the first value that the picture before agrees with, or
// the mark that the display shows another quantity, so that the display has settled and no single flipped bit is taken. A meter that sends less than once a second
// is taken by its word.
func (h *handheld) Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	h.waiting = nil
	if err := skipOld(ctx, func(ctx context.Context) (reading.Sample, error) {
		_, _, err := h.picture(ctx)
		return reading.Sample{}, err
	}); err != nil {
		return reading.Sample{}, err
	}
	c := Channel{ID: channel, Quantity: q}
	last, err := h.show(ctx, c)
	for range mostCompared {
		if err != nil {
			return last, err
		}
		wait, cancel := context.WithTimeout(ctx, nextPicture)
		next, failed := h.show(wait, c)
		cancel()
		switch {
		case errors.Is(failed, context.DeadlineExceeded) && ctx.Err() == nil:
			return last, nil
		case failed == nil && agree(last, next):
			return next, nil
		}
		last, err = next, failed
	}
	if err == nil && last.Good() {
		last.SetFault(reading.Unsettled, "the display does not settle")
	}
	return last, err
}

// agree reports whether two pictures show the same but for the last digit's units.
func agree(a, b reading.Sample) bool {
	if a.Quality != b.Quality {
		return false
	}
	return !a.Good() || a.Unit == b.Unit &&
		math.Abs(a.Value-b.Value) <= (agreeingUnits+1e-6)*math.Max(a.LastDigit(), b.LastDigit())
}

// show waits for the next picture and returns what it shows of a quantity.
func (h *handheld) show(ctx context.Context, c Channel) (reading.Sample, error) {
	picture, e, err := h.picture(ctx)
	if err != nil {
		return reading.Sample{}, err
	}
	return channelSample(picture, c, e.Time), nil
}
