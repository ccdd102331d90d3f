package cli

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
)

func TestRecordAndReplay(t *testing.T) {
	s := newParallelSession(t)
	port := sensor(t)
	s.write("quick.toml", plain)
	s.records("board.txt", "1,1.2500", `ohmkeep probe record --profile quick.toml --port `+port+` --out board.txt`).says("board.txt: ", " lines, 0 bad")
	s.do(`ohmkeep probe record --profile quick.toml --port ` + port + ` --seconds 9 --out board.txt`).refused("board.txt: is a transcript that is there already (name another file, or replace it with --force)")
	if text := s.printed(s.content("board.txt")); !strings.Contains(text, "# profile: quick.toml\n") || !strings.Contains(text, ` < "1,1.2500,A\n"`) {
		t.Error(text)
	}
	s.do(`ohmkeep probe replay board.txt`).exits(Passes).prints("  1        current      1.2500 A\n").says("board.txt by profile quick: ", "0 bad")
	s.do(`ohmkeep probe replay board.txt --json`).exits(Passes).prints(`"channel":"1","quantity":"current","value":"1.2500","unit":"A","quality":"good","raw":"1.2500"}`)
	s.do(`ohmkeep probe replay board.txt --profile ina226-lines`).exits(Fails).says(`bad "1,1.2500,A" (not of the profile's form)`)
	s.hears(`ohmkeep probe record --profile quick.toml --port `+port+` --seconds SECONDS --out -`, Passes, "# ohmkeep transcript 1\n")

	// The transcript in place of the board: each sample at the recorded speed.
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"board\"\nprofile = \"quick.toml\"\nport = \"transcript:board.txt\"\n"+
		"[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n")
	s.hears(`ohmkeep probe check shelf.toml board --seconds SECONDS`, Passes, "quick on transcript:board.txt", "1 current 1.2500 A (")
	s.do(`ohmkeep probe record shelf.toml board --seconds 9 --out board.txt --force`).refused("board.txt: is read by the same call (name another file)")
	s.do(`ohmkeep probe record shelf.toml board --seconds 9 --out quick.toml --force`).refused("quick.toml: is read by the same call (name another file)")
	s.do(`ohmkeep survey shelf.toml --store x.db`).refused("shelf.toml: probe board: port: transcript:board.txt measures nothing (a survey reads devices)")
}

const meterProfile = `name = "fast"
title = "Invented meter"
kind = "scpi"
[port]
baud = 9600
[query]
identity = "*IDN?"
error = "SYST:ERR?"
voltage = ["MEAS:VOLT:DC?"]
current = ["MEAS:CURR:DC?"]
every_milliseconds = EVERY
`

// A meter is recorded by turns and answers the same questions again; the wait between
// them is the transcript's.
func TestRecordMeter(t *testing.T) {
	s := newParallelSession(t)
	port := multimeter(t)
	s.write("fast.toml", strings.ReplaceAll(meterProfile, "EVERY", "20"))
	s.records("meter.txt", "+3.00000000E-01", `ohmkeep probe record --profile fast.toml --port `+port+` --out meter.txt`)
	s.write("fast.toml", strings.ReplaceAll(meterProfile, "EVERY", "100000"))
	begun := time.Now()
	s.do(`ohmkeep probe replay meter.txt`).exits(Passes).prints("voltage      +4.81230000E+00 V", "current      +3.00000000E-01 A")
	if took := time.Since(begun); took > 50*time.Second {
		t.Errorf("at the line's rate it took %v", took)
	}
}

func TestRecordIsStopped(t *testing.T) {
	s := newParallelSession(t)
	port := sensor(t)
	s.write("quick.toml", plain)
	s.records("board.txt", "1.2500", `ohmkeep probe record --profile quick.toml --port `+port+` --out board.txt`)
	s.do(`ohmkeep probe replay board.txt`).exits(Passes)
}

// records runs a command that records a transcript, and stops it once enough entries hold a text.
func (s session) records(transcript, text, line string) outcome {
	s.Helper()
	const enough = 4
	ctx, stop := context.WithCancel(s.Context())
	defer stop()
	go func() {
		for ctx.Err() == nil {
			time.Sleep(5 * time.Millisecond)
			if content, _ := os.ReadFile(s.path(transcript)); bytes.Count(content, []byte(text)) >= enough { // it is not there at once
				stop()
			}
		}
	}()
	return s.during(ctx, "", line).exits(Passes)
}

func TestSimulatedProbe(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"board\"\nprofile = \"plain-lines\"\nport = \"simulated\"\n"+
		"[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n")
	s.hears(`ohmkeep probe check shelf.toml board --seconds SECONDS`, Passes, devices.BoardGreeting, "plain-lines on simulated", "1 current ")
	s.do(`ohmkeep probe check --profile plain-lines --port simulated`).refused("a run is needed to simulate (name a run file and its probe)")
}

func TestKernelProbe(t *testing.T) {
	s := newSession(t)
	dir, err := filepath.Abs(".")
	if err != nil {
		t.Fatal(err)
	}
	chip := filepath.Join("1-0040", "hwmon", "hwmon4")
	if err := os.MkdirAll(chip, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("../..", filepath.Join(chip, "device")); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"name": "ina226\n", "in1_input": "4812\n", "curr1_input": "2310\n", "shunt_resistor": "2000\n"} {
		s.write(filepath.Join(chip, name), text)
	}
	port := filepath.Join(dir, "1-0040")
	s.hears(`ohmkeep probe check --profile hwmon-ina2xx --port `+port+` --seconds SECONDS`, Passes,
		"1 voltage 4812 mV (1 good", "1 current 2310 mA (1 good", `"ina226 at `+port)
	s.do(`ohmkeep probe record --profile hwmon-ina2xx --port ` + port + ` --out x.txt`).refused("profile hwmon-ina2xx reads no lines of text")
}

func TestTranscriptFaults(t *testing.T) {
	s := newSession(t)
	s.write("bad.txt", "# ohmkeep transcript 1\n# begun: 2026-05-04T10:12:00Z\n0 < oops\n")
	s.write("nameless.txt", "# ohmkeep transcript 1\n# begun: 2026-05-04T10:12:00Z\n")
	for line, want := range map[string]string{
		`ohmkeep probe record`: "wants RUN and PROBE, or --profile and --port",
		`ohmkeep probe record --profile plain-lines --port nowhere`:             "wants --out FILE",
		`ohmkeep probe record --profile plain-lines --port nowhere --out x.txt`: "port nowhere: no such file",
		`ohmkeep probe record --profile plain-lines --port bad.txt --out x.txt`: "port bad.txt: is a file, not a serial port (serial ports are ",
		`ohmkeep probe record --profile plain-lines --port x --seconds -1`:      "--seconds -1 is not a time above 0",
		`ohmkeep probe replay none.txt`:                                         "none.txt: no such file or directory",
		`ohmkeep probe replay bad.txt`:                                          "bad.txt:3: no quotation mark behind the mark (an entry is such as",
		`ohmkeep probe replay nameless.txt`:                                     "nameless.txt: names no profile (give one with --profile)",
		`ohmkeep probe replay nameless.txt --profile plan-lines`:                `no profile is named "plan-lines"`,
		`ohmkeep probe replay nameless.txt --profile hwmon-ina2xx`:              "reads no lines of text",
	} {
		s.do(line).refused(want)
	}
	s.do(`ohmkeep probe replay nameless.txt --profile plain-lines`).exits(Fails)
	s.write("meter.txt", "# ohmkeep transcript 1\n# profile: scpi-multimeter\n# begun: 2026-05-04T10:12:00Z\n0 > \"*IDN?\\n\"\n0 < \"a,b,0,0\\n\"\n0 > \"SYST:ERR?\\n\"\n0 < \"0\\n\"\n")
	s.do(`ohmkeep probe replay meter.txt`).refused("meter.txt: says no # channel: that profile scpi-multimeter could be asked for")
	if _, err := os.Stat("x.txt"); err == nil {
		t.Error("a transcript of nothing was left behind")
	}
}
