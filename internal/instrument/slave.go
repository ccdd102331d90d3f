package instrument

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/modbus"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// slave is a device that answers Modbus requests. It shares its line with other slaves.
type slave struct {
	tally
	profile *profile.Profile
	path    string
	options Options
	bus     *modbus.Bus
	leave   func()
	blocks  []block
	waiting []reading.Sample // read, and not yet returned by Next
	last    time.Time        // of the latest reading of all values; for pauses only
}

// block is a request and the values that its answer holds.
type block struct {
	modbus.Request
	values []profile.RegisterValue
}

// words returns the registers of a value in an answer to the block.
func (b block) words(answer []uint16, v profile.RegisterValue) []uint16 {
	return answer[v.Address-int(b.Address):][:v.Type.Words()]
}

// blocksOf groups values whose registers follow each other: they are read by one request, and so at
// the same time. Registers that no value needs are not read, because a slave may refuse them.
func blocksOf(address byte, values []profile.RegisterValue) []block {
	values = slices.Clone(values)
	slices.SortStableFunc(values, func(a, b profile.RegisterValue) int {
		return cmp.Or(cmp.Compare(a.Function, b.Function), cmp.Compare(a.Address, b.Address))
	})
	var blocks []block
	for _, v := range values {
		end := v.Address + v.Type.Words()
		if n := len(blocks); n > 0 {
			b := &blocks[n-1]
			if b.Function == byte(v.Function) && v.Address <= int(b.Address)+int(b.Count) && end-int(b.Address) <= modbus.MaxCount {
				b.Count = max(b.Count, uint16(end-int(b.Address)))
				b.values = append(b.values, v)
				continue
			}
		}
		blocks = append(blocks, block{modbus.Request{Slave: address, Function: byte(v.Function), Address: uint16(v.Address),
			Count: uint16(v.Type.Words())}, []profile.RegisterValue{v}})
	}
	return blocks
}

// openSlave joins the line and reads the first values, so that an absent slave is an error of opening.
func openSlave(ctx context.Context, p *profile.Profile, path string, o Options) (*slave, error) {
	if o.Slave < 1 || o.Slave > 247 {
		return nil, fault.Fault{Text: fmt.Sprintf("profile %s: %d is not the address of a slave", p.Name, o.Slave), Hint: "slave = 1 to 247"}
	}
	s := &slave{profile: p, path: path, options: o, blocks: blocksOf(byte(o.Slave), p.Registers.Values)}
	open := func() (io.ReadWriteCloser, error) { return connectRaw(ctx, p, path, o) }
	var err error
	if s.bus, s.leave, err = o.Buses.Join(path, p.Port, open); err != nil {
		return nil, err
	}
	if o.PortOpened != nil {
		o.PortOpened()
	}
	for _, b := range s.blocks {
		if _, err := s.ask(ctx, b); err != nil {
			s.leave()
			return nil, fmt.Errorf("port %s: %w", path, err)
		}
	}
	return s, nil
}

func (s *slave) Identity() string { return fmt.Sprintf("slave %d", s.options.Slave) }

// Next returns the values of one reading after the other.
func (s *slave) Next(ctx context.Context) (reading.Sample, error) {
	if len(s.waiting) == 0 {
		if !s.last.IsZero() {
			if err := s.options.Sleep(ctx, s.profile.Registers.Every-time.Since(s.last)); err != nil {
				return reading.Sample{}, err
			}
		}
		s.last = time.Now()
		for _, b := range s.blocks {
			samples, err := s.read(ctx, b)
			if err != nil {
				return reading.Sample{}, err
			}
			s.waiting = append(s.waiting, samples...)
		}
	}
	next := s.waiting[0]
	s.waiting = s.waiting[1:]
	return next, nil
}

// Scan reads every value once. Values whose registers follow each other are of the same time.
func (s *slave) Scan(ctx context.Context) error {
	for _, b := range s.blocks {
		if _, err := s.read(ctx, b); err != nil {
			return err
		}
	}
	return nil
}

func (s *slave) Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	for _, b := range s.blocks {
		if slices.ContainsFunc(b.values, func(v profile.RegisterValue) bool { return v.Channel == channel && v.Quantity == q }) {
			samples, err := s.read(ctx, b)
			if err != nil {
				return reading.Sample{}, err
			}
			i := slices.IndexFunc(samples, func(x reading.Sample) bool { return x.Channel == channel && x.Quantity == q })
			return samples[i], nil
		}
	}
	return reading.Sample{}, fmt.Errorf("profile %s has no %s of channel %q", s.profile.Name, q, channel)
}

func (s *slave) Close() error {
	s.leave()
	return nil
}

// read returns the values of one answer, which it logs as one line.
func (s *slave) read(ctx context.Context, b block) ([]reading.Sample, error) {
	a, err := s.ask(ctx, b)
	if err != nil {
		return nil, err
	}
	e := Event{Time: s.options.Clock(), Kind: Values, Text: hex(a.Received)}
	for _, v := range b.values {
		e.Samples = append(e.Samples, sampleOf(v, b.words(a.Words, v), e.Time))
	}
	s.add(e.Kind)
	s.options.Log(e)
	return e.Samples, nil
}

// tries is how often a request is sent to a slave that answers with a wrong checksum or is busy, before it counts as
// absent. A slave that does not answer is asked once more if it answered before.
const tries = 3

// ask sends a request until a slave answers it.
func (s *slave) ask(ctx context.Context, b block) (modbus.Answer, error) {
	for try := 1; ; try++ {
		a := s.bus.Read(ctx, b.Request, s.profile.Registers.Timeout)
		if a.Sent != nil {
			s.options.Log(Event{Time: s.options.Clock(), Kind: Sent, Text: hex(a.Sent)})
		}
		switch {
		case a.Err == nil:
			return a, nil
		case ctx.Err() != nil:
			return a, ctx.Err()
		case errors.Is(a.Err, io.EOF):
			return a, port.ErrGone
		case Ended(a.Err):
			return a, a.Err
		case errors.Is(a.Err, modbus.ErrBadFrame):
			s.add(Bad)
			s.options.Log(Event{Time: s.options.Clock(), Kind: Bad, Text: hex(a.Received), Reason: a.Err.Error()})
		}
		err := fmt.Errorf("slave %d: %w", s.options.Slave, a.Err)
		if errors.Is(a.Err, modbus.ErrNoAnswer) {
			err = fmt.Errorf("%w: is it powered, is its address %d, its rate %d baud, and are A and B not exchanged?", err, s.options.Slave, s.profile.Port.Baud)
		}
		var refused modbus.Exception
		if try == tries || a.Absent || errors.As(a.Err, &refused) && refused != modbus.Busy {
			return a, err
		}
	}
}

// hex writes bytes for people, as "01 04 00 00".
func hex(b []byte) string { return fmt.Sprintf("% X", b) }

// sampleOf returns the value that registers hold.
func sampleOf(v profile.RegisterValue, words []uint16, at time.Time) reading.Sample {
	text, reason := modbus.Text(v, words)
	s := reading.Sample{Reading: reading.Reading{Time: at, Quantity: v.Quantity, Text: text, Unit: v.Unit}, Channel: v.Channel, Raw: text}
	switch reason {
	case modbus.Marked:
		s.SetFault(reading.Faulty, "the slave says: "+text)
		return s
	case modbus.Saturated:
		s.SetFault(reading.Saturated, "saturated: "+text)
		return s
	}
	var err error
	if s.Value, err = reading.Value(v.Quantity, text, v.Unit); err != nil {
		s.SetFault(reading.Faulty, err.Error())
	}
	return s
}
