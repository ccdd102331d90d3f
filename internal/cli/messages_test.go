package cli

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/watch/storage/storagetest"
)

// What a command says where something is wrong names what would be right, in one line.
func TestMessagesSayWhatIsRight(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	s.write("unit.csv", "time,step,quantity,from,to,value,unit,meter\n2026-05-04T10:12:00Z,dark,voltage,left.start+,left.start-,5.08,volt,bench\n")
	s.do(`ohmkeep assess shelf.toml unit.csv`).refused(`unit.csv:2: unit: "volt" is not a unit (known: V, mV, uV)`)
	s.write("unit.csv", "time,step,quantity,from,to,value,unit,meter\n2026-05-04T10:12:00Z,dark,current,near,,0.3,kA,bench\n")
	s.do(`ohmkeep import shelf.toml unit.csv --store other.db`).refused(`unit.csv:2: unit: "kA" is not a unit (known: A, mA, uA)`)
	s.do(`ohmkeep store backup shelf.db none/copy.db`).refused("none/copy.db: there is no folder none (make it first, or name another)")
}

// Of the same fault in hundreds of rows ten are listed and the rest counted.
func TestManyFaultsAreCounted(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.write("bad.csv", "time,step,quantity,from,to,value,unit,meter\n"+strings.Repeat("2026-05-04T10:12:00Z,dark,voltage,left.start+,left.start-,5.0.8,V,bench\n", 700))
	o := s.do(`ohmkeep assess shelf.toml bad.csv`).exits(Wrong)
	if lines := strings.Count(o.faults, "\n"); lines != 11 || !strings.Contains(o.faults, "bad.csv: value: 690 more like these: ") {
		t.Errorf("%d lines:\n%s", lines, o.faults)
	}
}

// Every command that opens a damaged store names its file, and none says what the database
// inside says of itself.
func TestDamagedStoreIsNamed(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store good.db`).exits(Passes)
	storagetest.Root(t, "good.db", "")
	good := s.content("good.db")
	for name, bad := range map[string]string{
		"head.db": strings.Repeat("\x55", 100) + good[100:],
		"half.db": good[:len(good)/2],
		"page.db": good[:4096] + strings.Repeat("\x55", 8192) + good[12288:],
		"tail.db": good[:len(good)-4096] + strings.Repeat("\x55", 4096),
	} {
		for _, command := range []string{"assess shelf.toml --store %", "colour shelf.toml --store %", "drift shelf.toml --store %", "export shelf.toml --store %",
			"import shelf.toml readings.csv --store %", "note shelf.toml done --store %", "note shelf.toml --store %", "store check %", "store compact %", "store backup % copy.db",
			"store withdraw shelf.toml --store % --at 2026-03-01T09:00:00Z", "store correct shelf.toml --store %", "status --store %"} {
			s.write(name, bad)
			o := s.do("ohmkeep " + strings.ReplaceAll(command, "%", name))
			said := o.out + o.faults
			for _, inner := range []string{"SQL", "sqlite", "malformed", "disk image", "not a database", "no such table", "constraint"} {
				if strings.Contains(said, inner) {
					t.Errorf("$ %s\n%s", o.line, said)
				}
			}
			if o.status == Wrong && (!strings.Contains(o.faults, name) || strings.Count(o.faults, "\n") != 1) {
				t.Errorf("$ %s\n%s", o.line, o.faults)
			}
			for _, left := range []string{name + "*", "copy.db*"} {
				s.clear(left)
			}
		}
	}
}

// The same figure has the same interval in colour and in repair, and what meets every limit
// stands above what does not.
func TestRepairAndColourAgree(t *testing.T) {
	examples := testdata(t)
	s := newParallelSession(t)
	run, readings := filepath.Join(examples, "colour", "run.toml"), filepath.Join(examples, "colour", "readings.csv")
	colour := decoded(t, s.do("ohmkeep colour "+run+" "+readings+" --json").out)["worst"].(map[string]any)
	repair := s.do("ohmkeep repair " + run + " " + readings)
	wired := decoded(t, s.do("ohmkeep repair "+run+" "+readings+" --json").out)["as_wired"].(map[string]any)
	for name, in := range map[string]struct {
		key  string
		unit float64
	}{"colour_shift": {"colour_shift", 1}, "dimming_percent": {"dimming", 100}, "volts": {"least_volts", 1}} {
		a, b := colour[name].(map[string]any), wired[in.key].(map[string]any)
		for _, part := range []string{"value", "low", "high"} {
			if x, y := a[part].(float64), in.unit*b[part].(float64); math.Abs(x-y) > 1e-6*math.Abs(x) {
				t.Errorf("%s, %s: %g in colour, %g in repair", name, part, x, y)
			}
		}
	}
	var verdicts []string
	_, listed, _ := strings.Cut(repair.out, "what meets every limit comes first")
	for line := range strings.Lines(listed) {
		if word, _, _ := strings.Cut(line, " "); (word == "pass" || word == "FAIL") && strings.Contains(line, "cost") {
			verdicts = append(verdicts, word)
		}
	}
	if i := slices.Index(verdicts, "FAIL"); len(verdicts) < 3 || i <= 0 || slices.Contains(verdicts[i:], "pass") {
		t.Errorf("%q in\n%s", verdicts, repair.out)
	}
}
