package probes_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/lines"
	"ohmkeep/internal/instrument/profile"
)

// firmware compiles the board's program for this computer. The result runs a script of
// firmware/host.c and returns what the board prints.
func firmware(t *testing.T) func(t *testing.T, script string) string {
	t.Helper()
	compiler, err := exec.LookPath("cc")
	if err != nil {
		if compiler, err = exec.LookPath("gcc"); err != nil {
			t.Skip("no C compiler here: the board's program is not tried")
		}
	}
	program := filepath.Join(t.TempDir(), "board")
	strict := []string{"-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Werror"}
	out, err := exec.Command(compiler, append(strict, "-o", program, "firmware/sensor.c", "firmware/host.c")...).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	// A microcontroller has no C library.
	out, err = exec.Command(compiler, append(strict, "-ffreestanding", "-c", "-o", program+".o", "firmware/sensor.c")...).CombinedOutput()
	if err != nil {
		t.Fatalf("without a library: %v\n%s", err, out)
	}
	return func(t *testing.T, script string) string {
		t.Helper()
		run := exec.Command(program)
		run.Stdin = strings.NewReader(script)
		out, err := run.CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		return string(out)
	}
}

// chip is a script's lines for one INA226 at 40h.
func chip(shunt, bus, flags uint16) string {
	return fmt.Sprintf("set 40 FE 5449\nset 40 1 %X\nset 40 2 %X\nset 40 6 %X\n", shunt, bus, flags)
}

// values reads a line by a shipped profile and returns its values as text.
func values(t *testing.T, name, line string) string {
	t.Helper()
	p, err := profile.Load(name, "")
	if err != nil {
		t.Fatal(err)
	}
	list, err := lines.Parse(p.Line, line)
	if err != nil {
		t.Fatalf("%q: %v", line, err)
	}
	var parts []string
	for _, v := range list {
		if v.Fault != "" {
			parts = append(parts, v.Quality.String())
			continue
		}
		parts = append(parts, fmt.Sprintf("%.9g %s", v.Value, map[string]string{"V": "V", "uV": "V", "A": "A", "uA": "A"}[v.Unit]))
	}
	return strings.Join(parts, ", ")
}

// The board prints lines that the shipped profiles read; the first is the worked
// example of SBOS547 (June 2011), table 1, over 2 mΩ.
func TestFirmware(t *testing.T) {
	play := firmware(t)
	const words, plain = "form words\nsensor 1 40 2000\n", "form values\nsensor 1 40 2000\n"
	for _, c := range []struct{ name, script, prints, means string }{
		{"example in words", words + chip(0x1F40, 0x2570, 8) + "round\n", "ch=1 shunt=1F40 bus=2570 flags=0008\n", "10 A, 11.98 V"},
		{"example in values", plain + chip(0x1F40, 0x2570, 8) + "round\n", "1,11980000,uV\n1,10000000,uA\n", "11.98 V; 10 A"},
		{"negative", plain + chip(0x8300, 0x2570, 8) + "round\n", "1,11980000,uV\n1,-40000000,uA\n", "11.98 V; -40 A"},
		{"an overflow in words", words + chip(1, 1, 0xC) + "round\n", "ch=1 shunt=0001 bus=0001 flags=000C\n", "saturated, saturated"},
		{"an overflow in values", plain + chip(1, 1, 0xC) + "round\n", "# 1: the chip reports an overflow\n", ""},
		{"not ready in words", words + chip(1, 1, 0) + "round\n", "", ""},
		{"not ready in values", plain + chip(1, 1, 0) + "round\n", "", ""},
		{"the end of the scale", plain + chip(0x7FFF, 0x7FFF, 8) + "round\n",
			"# 1: the bus voltage is at the end of its scale\n# 1: the shunt voltage is at the end of its scale\n", ""},
		{"the other end", plain + chip(0x8000, 0x7FFE, 8) + "round\n", "1,40957500,uV\n# 1: the shunt voltage is at the end of its scale\n", "40.9575 V"},
		{"no shunt known", "form values\nsensor 1 40 0\n" + chip(0x1F40, 0x2570, 8) + "round\n", "1,11980000,uV\n", "11.98 V"},
		{"no chip", words + "round\n", "ch=1 fault=no answer\n", "faulty, faulty"},
		{"another chip", words + "set 40 FE 1234\nround\n", "ch=1 fault=no answer\n", "faulty, faulty"},
		{"no chip, in values", plain + "round\n", "# 1: no answer\n", ""},
		{"gone and back", words + chip(1, 1, 8) + "round\ngone 40\nround\n" + chip(1, 1, 8) + "round\n",
			"ch=1 shunt=0001 bus=0001 flags=0008\nch=1 fault=no answer\nch=1 shunt=0001 bus=0001 flags=0008\n", "0.00125 A, 0.00125 V; faulty, faulty; 0.00125 A, 0.00125 V"},
		// 4127h is the configuration after a reset: another number of averages.
		{"lost its power", words + chip(1, 1, 8) + "round\nset 40 0 4127\n" + chip(1, 1, 8) + "round\n" + chip(1, 1, 8) + "round\n",
			"ch=1 shunt=0001 bus=0001 flags=0008\nch=1 fault=it was reset\nch=1 shunt=0001 bus=0001 flags=0008\n", "0.00125 A, 0.00125 V; faulty, faulty; 0.00125 A, 0.00125 V"},
		{"a conversion once", words + chip(1, 1, 8) + "rounds 3\nset 40 6 8\nround\n",
			"ch=1 shunt=0001 bus=0001 flags=0008\nch=1 shunt=0001 bus=0001 flags=0008\n", "0.00125 A, 0.00125 V; 0.00125 A, 0.00125 V"},
		// Words of one conversion each would be 0001 0002 and 1F40 2570.
		{"a conversion that ends while it is read", words + chip(1, 2, 8) + "during 40 1F40 2570\nrounds 3\n",
			"ch=1 shunt=1F40 bus=2570 flags=0008\n", "10 A, 11.98 V"},
		{"the bus is stuck", words + chip(1, 1, 8) + "stuck\nrounds 3\nfree\nround\n",
			"ch=1 fault=the bus is stuck\nch=1 shunt=0001 bus=0001 flags=0008\n", "faulty, faulty; 0.00125 A, 0.00125 V"},
		{"a fault that lasts", words + "rounds 401\n", strings.Repeat("ch=1 fault=no answer\n", 3), "faulty, faulty; faulty, faulty; faulty, faulty"},
		{"no conversion", words + chip(1, 1, 0) + "rounds 200\nset 40 6 8\nround\n",
			"ch=1 fault=no conversion\nch=1 shunt=0001 bus=0001 flags=0008\n", "faulty, faulty; 0.00125 A, 0.00125 V"},
		{"two sensors", "form words\nsensor a 40 2000\nsensor b 41 2000\n" + chip(1, 1, 8) + "round\n", "ch=a shunt=0001 bus=0001 flags=0008\nch=b fault=no answer\n", "0.00125 A, 0.00125 V; faulty, faulty"},
		{"an id too long", "form words\nsensor " + strings.Repeat("x", 31) + " 40 2000\n" + chip(1, 1, 8) + "round\n",
			"ch=" + strings.Repeat("x", 31) + " shunt=0001 bus=0001 flags=0008\n", "0.00125 A, 0.00125 V"},
	} {
		t.Run(c.name, func(t *testing.T) {
			out := play(t, c.script)
			if out != c.prints {
				t.Fatalf("prints\n%swant\n%s", out, c.prints)
			}
			name := "ina226-registers"
			if strings.HasPrefix(c.script, "form values") {
				name = "plain-lines"
			}
			var means []string
			for line := range strings.Lines(out) {
				if m := values(t, name, strings.TrimSuffix(line, "\n")); m != "" {
					means = append(means, m)
				}
			}
			if got := strings.Join(means, "; "); got != c.means {
				t.Errorf("means %s, want %s", got, c.means)
			}
		})
	}
}

// The board's integer arithmetic is within half a µA and half a µV of the exact quotient.
func TestFirmwareArithmetic(t *testing.T) {
	play := firmware(t)
	rng := rand.New(rand.NewPCG(1, 2))
	for _, shunt := range []uint32{1, 75, 1960, 2000, 100_000, 4_000_000_000} {
		script := fmt.Sprintf("form values\nsensor 1 40 %d\n", shunt)
		var want []float64
		for range 50 {
			counts, bus := int16(rng.IntN(65534)-32767), rng.IntN(0x7FFF)
			if counts == math.MaxInt16 {
				counts--
			}
			script += chip(uint16(counts), uint16(bus), 8) + "round\n"
			want = append(want, float64(bus)*1250, float64(counts)*2.5/float64(shunt)*1e6)
		}
		lines := strings.Split(strings.TrimSpace(play(t, script)), "\n")
		if len(lines) != len(want) {
			t.Fatalf("%d lines, want %d", len(lines), len(want))
		}
		for i, line := range lines {
			var got float64
			if _, err := fmt.Sscanf(strings.Split(line, ",")[1], "%g", &got); err != nil || math.Abs(got-want[i]) > 0.5+1e-9*math.Abs(want[i]) {
				t.Errorf("%d uohm: %s, want %.3f", shunt, line, want[i])
			}
		}
	}
}

// A line that a reset cuts off is, with the first line after the reset, one bad line. Without that
// first line the flags could be missing and the rest be read.
func TestFirmwareCut(t *testing.T) {
	play := firmware(t)
	start, _, _ := strings.Cut(play(t, "start\n"), "\n")
	for name, line := range map[string]string{
		"ina226-registers": play(t, "form words\nsensor 1 40 2000\n"+chip(0x1F40, 0x2570, 8)+"round\n"),
		"plain-lines":      play(t, "form values\nsensor 1 40 0\n"+chip(0x1F40, 0x2570, 8)+"round\n"),
	} {
		p, err := profile.Load(name, "")
		if err != nil {
			t.Fatal(err)
		}
		line = strings.TrimSuffix(line, "\n")
		for n := range len(line) {
			if list, err := lines.Parse(p.Line, line[:n+1]+start); err == nil || len(list) > 0 {
				t.Errorf("%s: %q is read as %v", name, line[:n+1]+start, list)
			}
		}
	}
}

// The greeting is what the profiles take for the board's identity.
func TestFirmwareGreets(t *testing.T) {
	play := firmware(t)
	greeting, start := play(t, "greet\n"), play(t, "reset brown-out\nstart\n")
	if start != "#\n# serial 00C0FFEE, INA226, reset: brown-out\n" {
		t.Errorf("starts with %q", start)
	}
	for _, name := range []string{"plain-lines", "ina226-registers"} {
		p, err := profile.Load(name, "")
		if err != nil {
			t.Fatal(err)
		}
		if !p.Line.Identity.MatchString(strings.TrimSuffix(greeting, "\n")) || greeting != "# serial 00C0FFEE, INA226\n" {
			t.Errorf("%s does not know %q", name, greeting)
		}
	}
}
