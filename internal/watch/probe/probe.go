// Package probe opens the probes of a run file: a device, a recorded transcript or a
// simulation, depending on the port.
//
// A port is one of:
//   - the path of a serial port;
//   - the address of a device that the kernel reads (package hwmon);
//   - "mqtt", the run's broker, at which a board publishes;
//   - "transcript:FILE", a file beside the run file, which is replayed at its recorded speed
//     and is silent afterwards;
//   - "simulated", the network of the run with random errors and resistances from a fixed
//     seed. Its values are not measured, and its identity says so.
package probe

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/file"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/transcript"
	"ohmkeep/internal/run"
)

// Ports that are not devices.
const (
	Simulated  = run.Simulated
	Transcript = run.Transcript // a file name follows
)

// Opener opens the probes of one run; for use from several goroutines. All that it
// simulates is connected to the same simulated run.
type Opener struct {
	Run *run.Run // nil: no run, and nothing is simulated
	Dir string   // the run file's folder; paths of transcripts are relative to it

	mu        sync.Mutex
	simulated *simulated
}

// Open opens a probe. It sets the channels, the shunts and the connection of o where the run
// file states them.
func (op *Opener) Open(ctx context.Context, x run.Probe, p *profile.Profile, o instrument.Options) (instrument.Instrument, error) {
	o.Slave, o.Topic = x.Slave, x.Topic
	o.Channels = append(o.Channels, queriedChannels(x, p)...)
	for _, c := range x.Channels {
		if c.Shunt > 0 {
			if o.Shunts == nil {
				o.Shunts = map[string]float64{}
			}
			o.Shunts[c.ID] = c.Shunt
		}
	}
	if err := checkShunts(x, p); err != nil {
		return nil, err
	}
	name, recorded := strings.CutPrefix(x.Port, Transcript)
	switch {
	case x.Port == run.AtBroker && o.Broker == nil && op.Run != nil && op.Run.Broker != nil:
		return op.subscribe(ctx, x, p, o)
	case !recorded && x.Port != Simulated:
		return instrument.Open(ctx, p, x.Port, o)
	case !p.Kind.Recordable():
		return nil, fault.Fault{Text: fmt.Sprintf("port %s: profile %s reads no lines of text, and nothing else is recorded or simulated", x.Port, p.Name),
			Hint: "a profile of kind lines or scpi can be"}
	case recorded:
		t, err := op.read(name)
		if err != nil {
			return nil, err
		}
		player := transcript.Play(t)
		player.Paced, player.Quiet = true, true
		o.Conn = player
		return instrument.Open(ctx, p, x.Port, o)
	}
	return op.simulate(ctx, x, p, o)
}

func (op *Opener) read(name string) (*transcript.Transcript, error) {
	if !filepath.IsAbs(name) {
		name = filepath.Join(op.Dir, name)
	}
	return ReadTranscript(name)
}

// ReadTranscript reads a transcript's file.
func ReadTranscript(path string) (*transcript.Transcript, error) {
	src, err := file.Open(path, file.MaxTranscript)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	return transcript.Read(path, src)
}

// checkShunts returns an error for a shunt of a channel whose current is not known to be measured
// across one.
func checkShunts(x run.Probe, p *profile.Profile) error {
	for _, c := range x.Channels {
		if c.Shunt == 0 {
			continue
		}
		known := false
		for _, f := range p.Line.Fields {
			known = known || f.Shunt > 0
		}
		for _, v := range p.Files.Values {
			known = known || v.ShuntFile != ""
		}
		if !known {
			return fault.Fault{Key: "shunt_milliohms", Text: fmt.Sprintf("channel %q of probe %s: profile %s does not state the shunt from which its currents are computed", c.ID, x.Name, p.Name),
				Hint: "copy the profile and write that shunt into it"}
		}
	}
	return nil
}

// Record returns a function for instrument.Options.Log that writes all lines to a transcript.
// Incomplete lines are written as parts.
func Record(w *transcript.Writer, p *profile.Profile) func(instrument.Event) {
	end := "\n"
	switch {
	case p.Kind == profile.Handheld:
		end = "" // a picture has its end in it
	case p.Port.Terminator == "\r":
		end = "\r"
	}
	return func(e instrument.Event) {
		entry := transcript.Entry{Time: e.Time, Mark: transcript.Received, Bytes: e.Text + end}
		switch {
		case e.Incomplete:
			entry.Mark, entry.Bytes, entry.Reason = transcript.Piece, e.Text, e.Reason
		case e.Kind == instrument.Sent:
			entry.Mark, entry.Bytes = transcript.Sent, e.Text+p.Port.Terminator
		case e.Kind == instrument.Complained, e.Kind == instrument.Changed:
			return // what was said stands there already
		}
		w.Write(entry)
	}
}

// Replay opens an instrument on a transcript. It uses the clock of the transcript, and runs as fast
// as it is read unless paced. It ends with port.ErrGone.
func Replay(ctx context.Context, t *transcript.Transcript, p *profile.Profile, paced bool, o instrument.Options) (instrument.Instrument, error) {
	player := transcript.Play(t)
	player.Paced = paced
	o.Conn, o.Clock = player, player.Clock
	if !paced {
		o.Sleep = func(ctx context.Context, _ time.Duration) error { return ctx.Err() }
	}
	for _, text := range t.Channels {
		id, quantity, ok := cutLast(text)
		q := slices.Index(run.QuantityNames, quantity)
		if !ok || q < 0 {
			return nil, fmt.Errorf("the transcript's channel %q is not an id and quantity", text)
		}
		o.Channels = append(o.Channels, instrument.Channel{ID: id, Quantity: run.Quantity(q)})
	}
	return instrument.Open(ctx, p, "", o)
}

// Head returns the header of a probe's transcript. It names the profile as the probe does, so that
// a file is found again.
func Head(x run.Probe, p *profile.Profile, begun time.Time) transcript.Head {
	h := transcript.Head{Profile: x.Profile, Port: x.Port, Begun: begun}
	for _, c := range queriedChannels(x, p) {
		h.Channels = append(h.Channels, c.ID+" "+c.Quantity.String())
	}
	return h
}

// queriedChannels returns the channels to query, or of which a handheld meter has to show the quantity; none for a
// board, which names its channels.
func queriedChannels(x run.Probe, p *profile.Profile) []instrument.Channel {
	if p.Kind != profile.SCPI && p.Kind != profile.Handheld {
		return nil
	}
	var channels []instrument.Channel
	for _, c := range x.Channels {
		channels = append(channels, instrument.Channel{ID: c.ID, Quantity: c.Quantity})
	}
	return channels
}

// cutLast splits a text at its last space.
func cutLast(s string) (before, after string, ok bool) {
	i := strings.LastIndexByte(s, ' ')
	if i < 0 {
		return "", "", false
	}
	return s[:i], s[i+1:], true
}
