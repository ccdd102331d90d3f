package cli

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

// plain is a profile of plain lines whose board needs no time to come up.
const plain = `name = "quick"
title = "Invented board"
kind = "lines"
errors = "each"
[port]
baud = 115200
[line]
pattern = '(?P<id>[^,]+),(?P<value>[^,]+),(?P<unit>[A-Za-z]+)'
comment = "#"
[[line.field]]
group = "value"
unit_group = "unit"
[[range]]
quantity = "current"
resolution = 0.001
percent = 1.0
counts = 3
`

// runner is a simulated instrument.
type runner interface{ Run(context.Context) error }

// terminal gives a pseudo-terminal and plays an instrument on it until the test ends.
func terminal(t *testing.T, play func(*devices.Pair) runner) string {
	t.Helper()
	pair, err := devices.NewTerminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	var playing sync.WaitGroup
	ctx, stop := context.WithCancel(t.Context())
	device := play(pair)
	playing.Go(func() { _ = device.Run(ctx) }) // ends with the context
	t.Cleanup(func() { stop(); _ = pair.Device.Close(); playing.Wait() })
	return pair.Path
}

// sensor plays a board that says 1.25 A on channel 1, every 40 ms: a survey waits for a pause of 30 ms (package instrument).
func sensor(t *testing.T) string {
	return terminal(t, func(p *devices.Pair) runner {
		return devices.NewPlainBoard(p, []string{"1"}, func(_ string, q run.Quantity) float64 {
			return []float64{5.0625, 1.25, 21}[q]
		}, 40*time.Millisecond)
	})
}

// multimeter plays a meter that shows 4.8123 V and 0.3 A.
func multimeter(t *testing.T) string {
	return terminal(t, func(p *devices.Pair) runner {
		m, err := devices.NewMultimeter(p, func(q run.Quantity) float64 { return []float64{4.8123, 0.3, 20}[q] })
		if err != nil {
			t.Fatal(err)
		}
		return m
	})
}

func TestProbeList(t *testing.T) {
	newSession(t).do(`ohmkeep probe list`).exits(Passes).prints("ina226-lines ", "plain-lines ", "scpi-multimeter ", "115200 baud")
	newSession(t).do(`ohmkeep probe list --sources`).exits(Passes).prints("by       datasheet of FS9721_LP3", "accuracy 0.2 % + 10 counts")
}

func TestProbeCheckBoard(t *testing.T) {
	s := newParallelSession(t)
	port := sensor(t)
	s.write("quick.toml", plain)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"board\"\nprofile = \"quick.toml\"\nport = \""+port+
		"\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n")
	heard := []string{`spoke    "1,1.2500,A"  → 1 current 1.2500 A`, "quick on " + port, "1 current 1.2500 A (", "0 bad"}
	s.hears(`ohmkeep probe check shelf.toml board --seconds SECONDS`, Passes, heard...)
	s.hears(`ohmkeep probe check --profile quick.toml --port `+port+` --seconds SECONDS`, Passes, heard...)
	s.do(`ohmkeep probe check shelf.toml baord`).refused(`shelf.toml: no probe is named "baord" (did you mean "board"?)`)

	// A profile that the board does not speak.
	s.write("other.toml", strings.Replace(plain, `(?P<id>[^,]+),`, `ch=(?P<id>[^,]+),`, 1))
	s.hears(`ohmkeep probe check --profile other.toml --port `+port+` --seconds SECONDS`, Fails,
		`bad      "1,1.2500,A"`, "hint: no line has the form of profile quick")
}

func TestProbeCheckSilence(t *testing.T) {
	s := newParallelSession(t)
	pair, err := devices.NewTerminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	defer pair.Device.Close()
	s.write("quick.toml", plain)
	s.do(`ohmkeep probe check --profile quick.toml --port `+pair.Path+` --seconds 0.1`).exits(Fails).prints("0 lines", "hint: nothing was received")
}

func TestProbeCheckMeter(t *testing.T) {
	s := newParallelSession(t)
	port := multimeter(t)
	s.hears(`ohmkeep probe check --profile scpi-multimeter --port `+port+` --seconds SECONDS`, Passes,
		devices.MeterIdentity, "voltage +4.81230000E+00 V", "current +3.00000000E-01 A")
}

func TestProbeFaults(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.write("empty.toml", "")
	for line, want := range map[string]string{
		`ohmkeep probe check`:                                            "wants RUN and PROBE, or --profile and --port",
		`ohmkeep probe check shelf.toml`:                                 "wants RUN and PROBE, or --profile and --port",
		`ohmkeep probe check --profile plain-lines`:                      "wants RUN and PROBE, or --profile and --port",
		`ohmkeep probe check shelf.toml board`:                           `shelf.toml: no probe is named "board" (there are none)`,
		`ohmkeep probe check --profile plan-lines --port nowhere`:        `no profile is named "plan-lines" (did you mean "plain-lines"?`,
		`ohmkeep probe check --profile none.toml --port nowhere`:         "none.toml: no such file or directory",
		`ohmkeep probe check --profile plain-lines --port nowhere`:       "port nowhere: no such file or directory",
		`ohmkeep probe check --profile plain-lines --port shelf.toml`:    "port shelf.toml: ",
		`ohmkeep probe check --profile plain-lines --port x --seconds s`: `invalid argument "s" for "--seconds" flag (see`,
	} {
		s.do(line).refused(want)
	}
	s.do(`ohmkeep probe check --profile empty.toml --port nowhere`).exits(Wrong).says("empty.toml: ")
	s.holds("empty.toml", "shelf.toml")

	// The faults of a profile that a run file names come a line each, with their file.
	s.write("broken.toml", strings.NewReplacer("115200", "-1", `"each"`, `"eech"`).Replace(plain))
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"board\"\nprofile = \"broken.toml\"\nport = \"nowhere\"\n"+
		"[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n")
	o := s.do(`ohmkeep predict shelf.toml`).exits(Wrong).says("broken.toml:4: errors: ", "broken.toml:6: port.baud: ")
	if strings.Count(o.faults, "\n") != 2 {
		t.Error(o.faults)
	}
}

// A profile's meter is brought once, however many probes bring it, and one that the
// run file describes under the same name goes before it.
func TestProfilesBringMeters(t *testing.T) {
	s := newSession(t)
	s.write("quick.toml", plain)
	probe := func(name string) string {
		return "[[probe]]\nname = \"" + name + "\"\nprofile = \"quick.toml\"\nport = \"" + name + "\"\n" +
			"[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\n"
	}
	s.write("shelf.toml", shelf+probe("one")+probe("two"))
	r, err := loadRun("shelf.toml")
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Meters) != 2 || len(r.OwnMeters()) != 1 || r.Meters[1].Name != "quick" || r.Probes[0].Meter != 1 || r.Probes[1].Meter != 1 {
		t.Errorf("%d meters, probes use %d and %d", len(r.Meters), r.Probes[0].Meter, r.Probes[1].Meter)
	}
	s.write("shelf.toml", strings.Replace(s.content("shelf.toml"), `name = "bench"`, `name = "quick"`, 1))
	if r, err = loadRun("shelf.toml"); err != nil || len(r.Meters) != 1 || r.Probes[0].Meter != 0 {
		t.Errorf("%d meters, %v", len(r.Meters), err)
	}
}
