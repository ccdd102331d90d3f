package find_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ohmkeep/internal/instrument/find"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

// connected is a simulated device on a pseudo-terminal, and how many bytes it received.
type connected struct {
	path     string
	received *atomic.Int64
}

type runner interface{ Run(context.Context) error }

// connect plays a device; answering, it reads by itself.
func connect(t *testing.T, device func(*devices.Pair) runner, answering bool) connected {
	t.Helper()
	pair, err := devices.NewTerminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	c := connected{pair.Path, new(atomic.Int64)}
	ctx, stop := context.WithCancel(t.Context())
	var playing sync.WaitGroup
	if device != nil {
		sim := device(pair)
		playing.Go(func() { _ = sim.Run(ctx) })
	}
	if !answering {
		playing.Go(func() {
			buffer := make([]byte, 100)
			for {
				n, err := pair.Device.Read(buffer)
				if c.received.Add(int64(n)); err != nil {
					return
				}
			}
		})
	}
	t.Cleanup(func() { stop(); _ = pair.Device.Close(); playing.Wait() })
	return c
}

// talker sends a text again and again.
type talker struct {
	to   io.Writer
	text string
}

func (x talker) Run(ctx context.Context) error {
	for ctx.Err() == nil {
		if _, err := io.WriteString(x.to, x.text); err != nil {
			return err
		}
		time.Sleep(20 * time.Millisecond)
	}
	return nil
}

func says(text string) func(*devices.Pair) runner {
	return func(p *devices.Pair) runner { return talker{p.Device, text} }
}

// slave answers requests to address 2 with 4.87 V and 2.31 A.
type slave struct{ wire io.ReadWriter }

func (x slave) Run(context.Context) error {
	buffer := make([]byte, 100)
	for {
		n, err := x.wire.Read(buffer)
		if err != nil {
			return err
		}
		if bytes.HasPrefix(buffer[:n], []byte{2, 4, 0, 0, 0, 2}) {
			// The checksum is that of "Serial Line V1.02", appendix B, computed bit by bit by another program.
			_, _ = x.wire.Write([]byte{0x02, 0x04, 0x04, 0x01, 0xE7, 0x00, 0xE7, 0x39, 0x05})
		}
	}
}

func handheld(picture []byte) func(*devices.Pair) runner {
	return func(p *devices.Pair) runner {
		return devices.NewHandheld(p, func() []byte { return picture }, 30*time.Millisecond)
	}
}

// Eight ports: each device is found by what it sends, and nothing is written to one that sends by itself.
func TestFind(t *testing.T) {
	t.Parallel()
	o, err := find.Usual()
	if err != nil {
		t.Fatal(err)
	}
	o.Listen, o.Answer, o.Slaves = 90*time.Millisecond, 90*time.Millisecond, 2
	plain := func(p *devices.Pair) runner {
		return devices.NewPlainBoard(p, []string{"1"}, func(_ string, q run.Quantity) float64 { return []float64{4.8, 2.3, 20}[q] }, 30*time.Millisecond)
	}
	meter := func(p *devices.Pair) runner {
		m, err := devices.NewMultimeter(p, func(run.Quantity) float64 { return 4.8 })
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	cases := []struct {
		name      string
		device    func(*devices.Pair) runner
		answering bool
		profile   string // "" = unknown
		certain   bool
		channels  string
	}{
		{"plain lines", plain, false, "plain-lines", true, "1 voltage, 1 current, 1 temperature"},
		{"register words", says("ch=1 shunt=1F40 bus=2570 flags=0008\nch=2 fault=no answer\n"), false, "ina226-registers", true, "1 current, 1 voltage, 2 current, 2 voltage"},
		{"thermometers", says("T1 28-0316a2794bff 21.437\n"), false, "thermometer-lines", true, "1 temperature"},
		{"segments", handheld(devices.SegmentPicture("4.812", "V", "DC")), false, "fs9721", true, "display voltage"},
		{"characters", handheld(devices.OddParity(devices.CharacterPicture("02.310", "A", "DC"))), false, "es51922", true, "display current"},
		{"a meter that answers", meter, true, "scpi-multimeter", false, "1 voltage, 1 current"},
		{"a slave that answers", func(p *devices.Pair) runner { return slave{p.Device} }, true, "modbus-dc", true, "volts voltage, amps current"},
		{"unknown text", says("hello, 21 lux\n"), false, "", false, ""},
		{"unknown bytes", says("\x80\xff\x00\x7f\x12"), false, "", false, ""},
		{"nothing", nil, false, "", false, ""},
	}
	var paths []string
	var all []connected
	for _, c := range cases {
		all = append(all, connect(t, c.device, c.answering))
		paths = append(paths, all[len(all)-1].path)
	}
	absent := t.TempDir() + "/absent"
	search := func() (wrong []string) {
		complain := func(format string, of ...any) { wrong = append(wrong, fmt.Sprintf(format, of...)) }
		for _, one := range all {
			one.received.Store(0)
		}
		found := find.Ports(t.Context(), append(paths, absent), o)
		for i, c := range cases {
			f := found[i]
			name := ""
			if f.Profile != nil {
				name = f.Profile.Name
			}
			var channels []string
			for _, s := range f.Samples {
				channels = append(channels, s.Channel+" "+s.Quantity.String())
			}
			if f.Err != nil || f.Port != paths[i] || name != c.profile || f.Certain() != c.certain || strings.Join(channels, ", ") != c.channels || f.SettingsDiffer() {
				complain("%s: got %q, certain %v, %q, %d lines, %d bad, %v", c.name, name, f.Certain(), channels, f.Lines, f.Bad, f.Err)
			}
			if n := all[i].received.Load(); n > 0 && c.device != nil {
				complain("%s: %d bytes were written to it", c.name, n)
			}
		}
		if text, ok := found[7].Text(); !ok || text != "hello, 21 lux" {
			complain("unknown text: %q", text)
		}
		if _, ok := found[8].Text(); ok || len(found[8].Received) == 0 || silent(found[8]) {
			complain("unknown bytes: %q", found[8].Received)
		}
		if !silent(found[9]) || all[9].received.Load() == 0 {
			complain("nothing: %+v, asked with %d bytes", found[9], all[9].received.Load())
		}
		if last := found[len(cases)]; last.Err == nil || silent(last) {
			complain("absent: %+v", last)
		}
		return wrong
	}
	wrong := search()
	for ; len(wrong) > 0 && o.Listen < 5*time.Second; wrong = search() {
		// On a machine that is busy with other work a device may be silent for as long as the search listens.
		o.Listen, o.Answer = 3*o.Listen, 3*o.Answer
	}
	for _, what := range wrong {
		t.Error(what)
	}
}

// Without asking nothing is written to a silent port; a search that is stopped says so.
func TestFindOnlyListens(t *testing.T) {
	t.Parallel()
	o, err := find.Usual()
	if err != nil {
		t.Fatal(err)
	}
	o.Listen, o.Ask = 20*time.Millisecond, false
	quiet := connect(t, nil, false)
	if f := find.Port(t.Context(), quiet.path, o); !silent(f) || quiet.received.Load() != 0 {
		t.Errorf("%+v, asked with %d bytes", f, quiet.received.Load())
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if f := find.Port(ctx, quiet.path, o); f.Err == nil {
		t.Errorf("stopped: %+v", f)
	}
}

// silent reports whether nothing was received from a port that could be opened.
func silent(f find.Found) bool { return f.Err == nil && f.Profile == nil && len(f.Received) == 0 }
