package cli

import (
	"bufio"
	_ "embed"
	"encoding/hex"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"
)

var slaves = flag.Bool("slaves", false, "the watch reads Modbus slaves of python3-pymodbus over a pseudo-terminal of socat")

//go:embed testdata/slaves.py
var slavesProgram string

// dcMeter is what the shelf's run file says of a DC meter module on a line, at a reel's start.
func dcMeter(name, port string, slave int, reel string) string {
	return fmt.Sprintf(`[[probe]]
name = %q
profile = "modbus-dc"
port = %q
slave = %d
every_seconds = 0.1
  [[probe.channel]]
  id = "volts"
  quantity = "voltage"
  from = "%[4]s.start+"
  to = "%[4]s.start-"
`, name, port, slave, reel)
}

// slaveLine is a line with slaves that another program plays.
type slaveLine struct {
	port     string
	commands io.Writer
	answers  *bufio.Scanner
	cable    *exec.Cmd
}

// set changes registers, or takes a slave away.
func (l *slaveLine) set(t *testing.T, command string) {
	t.Helper()
	_, err := io.WriteString(l.commands, command+"\n")
	if err != nil || !l.answers.Scan() || l.answers.Text() != "done" {
		t.Fatalf("%s: %v %q", command, err, l.answers.Text())
	}
}

// startSlaves starts Debian's python3-pymodbus behind a cable of socat.
func (s session) startSlaves() *slaveLine {
	s.Helper()
	if !*slaves {
		s.Skip("without -slaves")
	}
	socat, err := exec.LookPath("socat")
	if err != nil {
		s.Skip("there is no socat: ", err)
	}
	if out, err := exec.Command("/usr/bin/python3", "-c", "import pymodbus, serial_asyncio").CombinedOutput(); err != nil {
		s.Skipf("there is no python3-pymodbus with python3-serial-asyncio: %v %s", err, out)
	}
	line := &slaveLine{port: s.TempDir() + "/host"}
	device := s.TempDir() + "/device"
	line.cable = exec.Command(socat, "pty,raw,echo=0,link="+line.port, "pty,raw,echo=0,link="+device)
	line.cable.Stderr = os.Stderr
	if err := line.cable.Start(); err != nil {
		s.Fatal(err)
	}
	s.Cleanup(func() { _ = line.cable.Process.Kill(); _ = line.cable.Wait() })
	for _, end := range []string{line.port, device} {
		for begun := time.Now(); ; time.Sleep(5 * time.Millisecond) {
			if _, err := os.Stat(end); err == nil {
				break
			} else if time.Since(begun) > 10*time.Second {
				s.Fatal(err)
			}
		}
	}
	program := exec.Command("/usr/bin/python3", "-c", slavesProgram, device)
	program.Stderr = io.Discard // it says there which slaves are absent
	in, err := program.StdinPipe()
	if err != nil {
		s.Fatal(err)
	}
	out, err := program.StdoutPipe()
	if err != nil {
		s.Fatal(err)
	}
	if err := program.Start(); err != nil {
		s.Fatal(err)
	}
	s.Cleanup(func() { _ = program.Process.Kill(); _ = program.Wait() })
	line.commands, line.answers = in, bufio.NewScanner(out)
	return line
}

// Two slaves on one line, played by a program that is not ours: what the display would show is
// exported digit by digit; a slave that vanishes is shown and read again when it returns, and the other
// one is read meanwhile.
func TestWatchReadsModbus(t *testing.T) {
	s := newSession(t)
	line := s.startSlaves()
	line.set(t, "1 4 0 487 231")
	line.set(t, "2 4 0 1200")
	s.write("shelf.toml", shelf+dcMeter("one", line.port, 1, "left")+`  [[probe.channel]]
  id = "amps"
  quantity = "current"
  from = "near"
`+dcMeter("two", line.port, 2, "right"))
	w := s.watch("--commit", "100ms")
	exported := func() string { return s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out }
	has := func(parts ...string) {
		t.Helper()
		w.until(strings.Join(parts, "; "), func() bool {
			out := exported()
			for _, part := range parts {
				if !strings.Contains(out, part) {
					return false
				}
			}
			return true
		})
	}
	has("voltage,left.start+,left.start-,4.87,V", "current,near,,2.31,A", "voltage,right.start+,right.start-,12.00,V")
	line.set(t, "1 4 0 480 0")
	has("left.start-,4.80,V", "near,,0.00,A")

	line.set(t, "absent 2")
	w.shows(`ohmkeep_probe_up{probe="two",run="Book shelf"} 0`)
	line.set(t, "1 4 0 481 1")
	has("left.start-,4.81,V", "near,,0.01,A") // the line is not blocked
	if _, text := w.ask("GET", "/status", ""); !strings.Contains(text, "slave 2: does not answer within 1s: is it powered") {
		t.Errorf("the reason is not shown:\n%s", text)
	}
	line.set(t, "2 4 0 1199")
	w.shows(`ohmkeep_probe_up{probe="two",run="Book shelf"} 1`)
	has("right.start-,11.99,V")
	w.shows(`ohmkeep_bad_lines_total{probe="one",run="Book shelf"} 0`)

	_ = line.cable.Process.Kill() // unplugged
	w.shows(`ohmkeep_probe_up{probe="one",run="Book shelf"} 0`)
	w.ends()
	if strings.Contains(exported(), ",4.9,") {
		t.Error("digits are lost")
	}
}

// A check of one slave says what it sends, and what is wrong where it does not.
func TestProbeCheckModbus(t *testing.T) {
	s := newSession(t)
	line := s.startSlaves()
	line.set(t, "1 4 0 487 231")
	s.do(`ohmkeep probe check --profile modbus-dc --port `+line.port+` --seconds 1.5`).exits(Passes).prints("4.87 V", "2.31 A")
	line.set(t, "absent 2")
	s.do(`ohmkeep probe check --profile modbus-dc --slave 2 --port ` + line.port).exits(Wrong).says("slave 2: does not answer within 1s: is it powered, is its address 2, its rate 9600 baud, and are A and B not exchanged?")
	s.write("odd.toml", `name = "odd"
title = "Odd"
kind = "modbus"
[port]
baud = 9600
[modbus]
[[modbus.register]]
id = "volts"
function = "holding"
address = 100
unit = "V"
`)
	s.do(`ohmkeep probe check --profile odd.toml --port ` + line.port).exits(Wrong).says("slave 1: exception 2, illegal data address")
}

// Two slaves behind an adapter that echoes what is sent. The frames with their checksums are those that
// python3-pymodbus exchanged with this program.
func TestWatchReadsModbusWithEcho(t *testing.T) {
	s := newParallelSession(t)
	pair := s.terminal()
	answers := map[string]string{
		"010400000002" + "71cb": "01040401e700e7" + "0a05", // 487, 231
		"020400000002" + "71f8": "02040404b00000" + "c853", // 1200, 0
	}
	go func() {
		for request := make([]byte, 8); ; {
			if _, err := io.ReadFull(pair.Device, request); err != nil {
				return
			}
			answer, _ := hex.DecodeString(answers[hex.EncodeToString(request)]) // an unknown one is not answered
			_, _ = pair.Device.Write(append(slices.Clone(request), answer...))
		}
	}()
	s.write("shelf.toml", shelf+dcMeter("one", pair.Path, 1, "left")+dcMeter("two", pair.Path, 2, "right"))
	w := s.watch("--commit", "50ms")
	w.shows(`ohmkeep_voltage_volts{from="left.start+",run="Book shelf",to="left.start-"} 4.87`)
	w.shows(`ohmkeep_voltage_volts{from="right.start+",run="Book shelf",to="right.start-"} 12`)
	w.ends()
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",voltage,left.start+,left.start-,4.87,V,", ",voltage,right.start+,right.start-,12.00,V,")
}

func TestSlaveIsNamed(t *testing.T) {
	s := newSession(t)
	for _, c := range []struct{ old, new, want string }{
		{"slave = 1", "", "shelf.toml: probe one: slave: is missing: profile modbus-dc is of one of several slaves on a line"},
		{"slave = 1", "slave = 248", "slave: 248 is out of range (the addresses of Modbus slaves are 1 to 247)"},
		{`"modbus-dc"`, `"plain-lines"`, "shelf.toml: probe one: slave: has no meaning with profile plain-lines"},
	} {
		s.write("shelf.toml", shelf+strings.Replace(dcMeter("one", "nowhere", 1, "left"), c.old, c.new, 1))
		s.do(`ohmkeep watch shelf.toml --store shelf.db`).refused(c.want)
	}
}

// A channel that the device does not have is a fault of the run file, and so is an interval of queries for a device
// that sends by itself. Each is one line with its key.
func TestChannelsOfTheDevice(t *testing.T) {
	s := newSession(t)
	hand := handheld("fs9721", "voltage", "nowhere")
	for _, c := range []struct{ text, want string }{
		{strings.Replace(dcMeter("one", "nowhere", 1, "left"), `"volts"`, `"ohms"`, 1),
			`shelf.toml: probe one: channel.id: profile modbus-dc has no channel "ohms" (known: volts, amps)`},
		{strings.Replace(dcMeter("one", "nowhere", 1, "left"), `"volts"`, `"amps"`, 1),
			`shelf.toml: probe one: channel.quantity: profile modbus-dc has no voltage of channel "amps" (known: current)`},
		{strings.Replace(hand, `"display"`, `"x"`, 1), `shelf.toml: probe hand: channel.id: profile fs9721 has no channel "x" (known: display)`},
		{strings.Replace(hand, "profile", "every_seconds = 2\nprofile", 1),
			"shelf.toml: probe hand: every_seconds: has no meaning with profile fs9721 (leave it out: the device sends by itself)"},
		{strings.Replace(hand, "fs9721", "mqtt-json", 1), "shelf.toml: probe hand: topic: is missing"},
		{strings.Replace(hand, "fs9721", "hwmon-ina2xx", 1), `shelf.toml: probe hand: channel.id: profile hwmon-ina2xx has no channel "display" (known: 1)`},
	} {
		s.write("shelf.toml", shelf+c.text)
		s.do(`ohmkeep watch shelf.toml --store shelf.db`).refused(c.want)
	}
}
