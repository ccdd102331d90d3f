package instrument

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"
	"unicode"
	"unicode/utf8"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/scpi"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Report is the result of a check of one probe.
type Report struct {
	Profile  string
	Port     string
	Identity string
	Counters
	Seen   []Seen   // by channel and quantity, in the order in which they were first received
	Bad    []Event  // the first few bad lines
	Queue  []string // what the meter's error queue said
	Errors []string // failed measurements, and why the check ended early
	Advice []string // the most likely remedies
}

// Seen summarises the samples of one channel and quantity.
type Seen struct {
	Last   reading.Sample
	Good   int
	Faulty int // samples that were not good
}

// maxBadLines is how many bad lines a report holds: enough to see what they look like.
const maxBadLines = 10

// OK reports whether the probe can be used: it sent good samples, and nothing failed.
func (r Report) OK() bool {
	good := slices.ContainsFunc(r.Seen, func(s Seen) bool { return s.Good > 0 })
	return good && r.Counters.Bad == 0 && len(r.Queue) == 0 && len(r.Errors) == 0
}

// Check opens a device with open, reads or queries it for the time d, and reports what it
// sent and which of that could be parsed. The error is that of opening. Later errors are
// in the report. Each event is passed to o.Log when it occurs.
func Check(ctx context.Context, p *profile.Profile, path string, d time.Duration, o Options, open func(Options) (Instrument, error)) (Report, error) {
	r := Report{Profile: p.Name, Port: path}
	follow := o.Log
	o.Log = func(e Event) {
		if follow != nil {
			follow(e)
		}
		switch {
		case e.Kind == Bad && len(r.Bad) < maxBadLines:
			r.Bad = append(r.Bad, e)
		case e.Kind == Complained:
			addNew(&r.Queue, e.Reason)
		}
	}
	device, err := open(o)
	if err != nil {
		return r, err
	}
	if p.Kind == profile.SCPI {
		r.queryAll(ctx, device, p, d)
	} else {
		r.listen(ctx, device, d)
	}
	r.Identity, r.Counters = device.Identity(), device.Counters()
	if err := device.Close(); err != nil && len(r.Errors) == 0 {
		r.Errors = append(r.Errors, err.Error())
	}
	r.advise(p, d)
	return r, nil
}

// listen records the samples of a board until the time is over.
func (r *Report) listen(ctx context.Context, device Instrument, d time.Duration) {
	ctx, cancel := context.WithTimeout(ctx, d)
	defer cancel()
	for {
		s, err := device.Next(ctx)
		if err != nil {
			r.note(ctx, err)
			return
		}
		r.count(s)
	}
}

// queryAll queries every quantity of a meter's profile, repeatedly until the time is over and
// at least once. It always waits for the whole answer.
func (r *Report) queryAll(ctx context.Context, device Instrument, p *profile.Profile, d time.Duration) {
	for begun, first := time.Now(), true; first || time.Since(begun) < d; first = false {
		for q := range run.Quantity(len(run.QuantityNames)) {
			if !p.Query.Asks(q) {
				continue
			}
			s, err := device.Measure(ctx, "", q)
			if err != nil {
				if r.note(ctx, err) {
					return
				}
				continue
			}
			r.count(s)
		}
	}
}

// note records an error and reports whether the check is over. The end of the check's time
// is not an error.
func (r *Report) note(ctx context.Context, err error) bool {
	var queue scpi.Queue
	if ctx.Err() != nil {
		return true
	}
	if errors.As(err, &queue) {
		return false // the entries of the queue are recorded already
	}
	addNew(&r.Errors, err.Error())
	return !errors.Is(err, scpi.ErrTimeout)
}

// addNew appends a text that the list does not hold yet.
func addNew(list *[]string, text string) {
	if !slices.Contains(*list, text) {
		*list = append(*list, text)
	}
}

func (r *Report) count(s reading.Sample) {
	i := slices.IndexFunc(r.Seen, func(x Seen) bool { return x.Last.Channel == s.Channel && x.Last.Quantity == s.Quantity })
	if i < 0 {
		i = len(r.Seen)
		r.Seen = append(r.Seen, Seen{})
	}
	r.Seen[i].Last = s
	if s.Good() {
		r.Seen[i].Good++
	} else {
		r.Seen[i].Faulty++
	}
}

// advise adds the most likely remedies to the report.
func (r *Report) advise(p *profile.Profile, d time.Duration) {
	understood := r.Lines - r.Counters.Bad - r.Skipped
	switch {
	case r.Lines == 0 && p.Kind == profile.Handheld:
		r.Advice = append(r.Advice, fmt.Sprintf("nothing was received in %v: is it the right port, is the meter on and set to send, and is the optical cable seated?", d))
	case r.Lines == 0 && p.Kind == profile.Lines:
		r.Advice = append(r.Advice, fmt.Sprintf("nothing was received in %v: is it the right port, is the board powered, and does it wait for DTR?", d))
	case understood == 0 && r.Lines > 0 && p.Kind == profile.Handheld:
		r.Advice = append(r.Advice, fmt.Sprintf("no picture of chip %s was received: another chip, another rate than %d baud, or a bad optical contact", p.Display.Chip, p.Port.Baud))
	case understood == 0 && slices.ContainsFunc(r.Bad, func(e Event) bool { return looksLikeNoise(e.Text) }):
		r.Advice = append(r.Advice, fmt.Sprintf("what was received is not text: the board most likely sends at another rate than %d baud", p.Port.Baud))
	case understood == 0 && r.Counters.Bad > 0:
		r.Advice = append(r.Advice, fmt.Sprintf("no line has the form of profile %s: choose another profile, or write one", p.Name))
	}
	for _, s := range r.Seen {
		if s.Good == 0 {
			r.Advice = append(r.Advice, fmt.Sprintf("channel %q gave no usable %s: %s", s.Last.Channel, s.Last.Quantity, s.Last.Fault))
		}
	}
}

// looksLikeNoise reports whether more than a fifth of a text is unprintable, as a
// wrong rate gives it.
func looksLikeNoise(s string) bool {
	odd, all := 0, 0
	for _, r := range s {
		all++
		if r == utf8.RuneError || unicode.IsControl(r) {
			odd++
		}
	}
	return odd*5 > all
}
