package probes_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/watch/watchtest"
)

// avrBoard is the board's program in a simulated processor, firmware/simulated/board.c.
type avrBoard struct {
	*testing.T
	port          string
	flash, static int // bytes; static = RAM without the stack
	commands      io.WriteCloser
	process       *exec.Cmd
	said          watchtest.Log
}

// buildBoard compiles the program and its simulation and starts the simulation. The board starts at
// the command run.
func buildBoard(t *testing.T) *avrBoard {
	t.Helper()
	for _, tool := range []string{"avr-gcc", "avr-size", "make", "cc"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("%s is not here", tool)
		}
	}
	const headers = "/usr/include/simavr"
	if _, err := os.Stat(headers); err != nil {
		t.Skip("libsimavr-dev is not here")
	}
	dir := t.TempDir()
	elf, program := filepath.Join(dir, "board.elf"), filepath.Join(dir, "board")
	command := func(name string, args ...string) string {
		out, err := exec.Command(name, args...).CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, out)
		}
		return string(out)
	}
	command("make", "-C", "firmware/avr", "BOARD="+elf)
	command("cc", "-std=gnu99", "-O2", "-Wall", "-Wextra", "-Werror", "-I"+headers, "-o", program,
		"firmware/simulated/board.c", "firmware/simulated/chips.c", "firmware/simulated/hold.c", "firmware/simulated/ina226.c", "-lsimavr", "-lelf")
	b := &avrBoard{T: t}
	sizes := regexp.MustCompile(`(?m)^\s*(\d+)\s+(\d+)\s+(\d+)`).FindStringSubmatch(command("avr-size", elf))
	if sizes == nil {
		t.Fatal("avr-size has no numbers")
	}
	text, _ := strconv.Atoi(sizes[1]) // digits, by the pattern
	data, _ := strconv.Atoi(sizes[2])
	bss, _ := strconv.Atoi(sizes[3])
	b.flash, b.static = text+data, data+bss

	b.process = exec.Command(program, elf)
	b.process.Stdout, b.process.Stderr = &b.said, os.Stderr
	in, err := b.process.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	b.commands = in
	if err := b.process.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.process.Process.Kill() })
	for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		line, _, whole := strings.Cut(b.said.String(), "\n")
		if port, ok := strings.CutPrefix(line, "port "); ok && whole {
			b.port = port
			return b
		}
		if time.Since(begun) > 10*time.Second {
			t.Fatalf("the simulated board says %q", line)
		}
	}
}

func (b *avrBoard) say(command string) {
	b.Helper()
	if _, err := fmt.Fprintln(b.commands, command); err != nil {
		b.Fatal(err)
	}
}

// seconds returns how much time has passed for the board.
func (b *avrBoard) seconds() int {
	said := b.said.String()
	n := 0
	if i := strings.LastIndex(said, "second "); i >= 0 {
		_, _ = fmt.Sscanf(said[i:], "second %d", &n) // 0 where the line is not whole
	}
	return n
}

// pass waits until so many seconds have passed for the board.
func (b *avrBoard) pass(seconds int) {
	b.Helper()
	begun := b.seconds()
	for limit := time.Now().Add(time.Duration(10*seconds+30) * time.Second); b.seconds() < begun+seconds; time.Sleep(100 * time.Millisecond) {
		if time.Now().After(limit) {
			b.Fatalf("only %d s have passed for the board", b.seconds()-begun)
		}
	}
}

// conversion is one conversion of a chip's model. Times are in microseconds.
type conversion struct {
	chip       string
	shunt, bus uint16
	done, gone int64 // from when to when its words were in the registers
	read       bool  // both words were read
}

// span is a time, in microseconds, in which the board could not read a chip.
type span struct{ from, to int64 }

// avrRecord is what the simulated board printed.
type avrRecord struct {
	conversions []conversion
	blind       map[string][]span // by chip
	seconds     float64
	late        float64 // how much longer that took, in s, because the machine was busy
	lost, stack int
}

// end lets the board finish and returns its record. Its port stays until close.
func (b *avrBoard) end() avrRecord {
	b.Helper()
	b.say("end")
	for begun := time.Now(); !strings.Contains(b.said.String(), "\nend "); time.Sleep(50 * time.Millisecond) {
		if time.Since(begun) > 30*time.Second {
			b.Fatal("the simulated board does not end")
		}
	}
	time.Sleep(50 * time.Millisecond) // for the rest of its last line
	return b.record()
}

// close ends the simulation.
func (b *avrBoard) close() {
	b.Helper()
	if err := errors.Join(b.commands.Close(), b.process.Wait()); err != nil {
		b.Errorf("the simulated board: %v", err)
	}
}

// record returns what the board printed.
func (b *avrBoard) record() avrRecord {
	b.Helper()
	r := avrRecord{blind: map[string][]span{}}
	chips := []string{"40", "41"}
	since := map[string]int64{"40": 0, "41": 0} // of each chip's present blindness; -1 = it can be read
	begin := func(at int64) {
		for _, chip := range chips {
			if since[chip] < 0 {
				since[chip] = at
			}
		}
	}
	end := func(chip string, at int64) {
		if since[chip] >= 0 {
			r.blind[chip] = append(r.blind[chip], span{since[chip], at})
		}
		since[chip] = -1
	}
	ended := false
	var held int64
	for line := range strings.Lines(b.said.String()) {
		var c conversion
		var chip, read string
		var at int64
		var pulses int
		is := func(format string, into ...any) bool {
			_, err := fmt.Sscanf(line, format, into...)
			return err == nil
		}
		switch {
		case is("conversion %s %X %X %d %d %s", &c.chip, &c.shunt, &c.bus, &c.done, &c.gone, &read):
			c.read = read == "read"
			r.conversions = append(r.conversions, c)
		case is("configured %s %d", &chip, &at):
			end(chip, at)
		case is("off %d", &at), is("hung %d", &at):
			begin(at)
		case is("held %d", &at):
			begin(at)
			held = at
		case is("released %d %d", &at, &pulses):
			// A round begins every 5 ms, and an access may wait 2 ms for its end.
			if pulses <= 9 && at-held > 10_000 {
				b.Errorf("a chip that wants %d pulses held the bus for %d us", pulses, at-held)
			}
			for _, chip := range chips {
				end(chip, at)
			}
		case is("end %f %f %d %d", &r.seconds, &r.late, &r.lost, &r.stack):
			ended = true
		case is("on %d", &at), strings.HasPrefix(line, "port "), strings.HasPrefix(line, "second "):
		default:
			b.Fatalf("the simulated board says %q", line)
		}
	}
	if !ended {
		b.Fatal("the simulated board did not end in good order")
	}
	return r
}

// edge is the begin or the end of a time in which the board could not read a chip.
type edge struct {
	chip string
	at   int64
}

// edgeOf returns the edge of the blind time that overlaps the time of a conversion in the registers;
// blind is false if none does.
func (r avrRecord) edgeOf(c conversion) (at edge, blind bool) {
	for _, s := range r.blind[c.chip] {
		if c.done < s.to && c.gone > s.from {
			if c.done < s.from {
				return edge{c.chip, s.from}, true
			}
			return edge{c.chip, s.to}, true
		}
	}
	return edge{}, false
}

// compare reports conversions that were not read although they could be, and those that are not in
// the store exactly once. At either edge of a blind time one conversion may be lost although it was
// read: its line was not sent to its end, or the next conversion replaced it just then.
func (r avrRecord) compare(t *testing.T, stored map[string][]uint16) {
	t.Helper()
	want := map[string][]uint16{}
	lost := map[edge]int{}
	next := map[string]int{}
	for _, c := range r.conversions {
		if !c.read {
			if _, blind := r.edgeOf(c); !blind {
				t.Errorf("%+v was not read", c)
			}
			continue
		}
		i := next[c.chip]
		if bus := stored[c.chip+" bus"]; i >= len(bus) || bus[i] != c.bus {
			if at, blind := r.edgeOf(c); blind {
				lost[at]++
				continue
			}
			t.Fatalf("%+v is not in the store, which has %d readings of that chip and %X as number %d", c, len(bus), bus[min(i, len(bus)-1)], i+1)
		}
		next[c.chip]++
		want[c.chip+" bus"] = append(want[c.chip+" bus"], c.bus)
		want[c.chip+" shunt"] = append(want[c.chip+" shunt"], c.shunt)
	}
	for key, w := range want {
		if !slices.Equal(stored[key], w) {
			t.Errorf("%s: %d readings in the store, not the %d that the model gave, in their order", key, len(stored[key]), len(w))
		}
	}
	for at, n := range lost {
		if n > 1 {
			t.Errorf("%d conversions that were read were lost at %+v", n, at)
		}
	}
	if len(r.conversions) == 0 || len(want) != 4 {
		t.Errorf("%d conversions of %d series", len(r.conversions), len(want))
	}
}
