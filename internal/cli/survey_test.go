package cli

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/watch/watchtest"
)

// A step of the shelf asks for the supply, the feed's current, and the pairs at
// left.start, left.end, the joint's plus and minus, right.start and right.end.
func TestSurveyTypedIn(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	o := s.answer(strings.Join([]string{"",
		"5.083", "310 mA", "5.05V", "s", "4 mV", "12.1uA", "12,1 mV", "-", "4.9e0", // the next is missing
	}, "\n"), `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes)
	o.prints("6 readings stored in shelf.db\n").says(
		`Step "dark", 0 taken, 8 left`, "A+ to A-, in V", `the current of feed near, in A`,
		"left.end+ left.end-: left out, as asked", "a voltage is not given in uA",
		`"-" is not a decimal number`, "next: ohmkeep assess shelf.toml --store shelf.db")
	if strings.Contains(o.faults, "white") {
		t.Error("another step than was named is walked")
	}
	exported := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out
	var rows []string
	for row := range strings.Lines(exported) {
		_, rest, _ := strings.Cut(strings.TrimSpace(row), ",")
		rows = append(rows, rest)
	}
	want := []string{"step,quantity,from,to,value,unit,meter", "dark,voltage,A+,A-,5.083,V,bench", "dark,current,near,,310,mA,bench",
		"dark,voltage,left.start+,left.start-,5.05,V,bench", "dark,voltage,left.end+,right.start+,4,mV,bench",
		"dark,voltage,right.start-,left.end-,12.1,mV,bench",
		"dark,voltage,right.start+,right.start-,4.9e0,V,bench"}
	if strings.Join(rows, "\n") != strings.Join(want, "\n") {
		t.Errorf("typed\n%s\nstored\n%s", strings.Join(want, "\n"), strings.Join(rows, "\n"))
	}
	s.do(`ohmkeep assess shelf.toml --store shelf.db`).exits(Fails).prints("6 readings") // 78 mΩ in the joint's minus
}

// A reading that contradicts is withdrawn where it is left out, and the survey says so.
func TestSurveyWithdrawsDoubtfulReading(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	o := s.answer("\n-5.08\ns\n0.31\n", `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes).prints("1 reading stored").
		says("Or s withdraws it.", "withdrawn: voltage A+ to A-, -5.08 V at ", "A+ A-: left out, as asked")
	if strings.Contains(o.faults, "kept") {
		t.Error(o.faults)
	}
	if out := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; strings.Contains(out, "5.08") {
		t.Error(out)
	}
}

// A decimal comma is stored as a point, unless it may stand between thousands. An overload sign and an empty
// answer say what to do, and the place is asked again.
func TestSurveyTypedForms(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	o := s.answer("\n\n0L\nOL V\n.OL\n5,09\n1,234 mA\n0,310\n4,812\n", `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes).
		prints("3 readings stored").says("no value was typed (such as 4.812)", `"1,234" can be 1.234 and 1234 (decimals are set off by a point)`)
	if strings.Count(o.faults, "the meter is beyond its range: take a larger range") != 3 || strings.Contains(o.faults, "skip-bad") {
		t.Error(o.faults)
	}
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",A+,A-,5.09,V,", ",near,,0.310,A,", ",4.812,V,")
}

func TestSurveyLeavesStepsOut(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.answer("s\n\n5.08\n99\n", `ohmkeep survey shelf.toml --store shelf.db --all --step dark --step "white 5 %"`).exits(Passes).
		prints("2 readings stored").says(`Step "white 5 %"`)
	if out := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; strings.Contains(out, "dark") || strings.Count(out, "white 5 %") != 2 {
		t.Error(out)
	}
	s.answer("", `ohmkeep survey shelf.toml --all --store none.db`).exits(Passes).prints("0 readings stored")
	s.answer("\n12.5\n", `ohmkeep survey shelf.toml --all --store high.db`).exits(Passes).prints("0 readings stored").
		says(`12.5 V is more than meter "bench" is described for (is the unit right?)`)
	s.do(`ohmkeep survey shelf.toml --store shelf.db --step drak`).refused(`shelf.toml: --step: no step is named "drak" (did you mean "dark"?)`)
	s.do(`ohmkeep survey shelf.toml --store .`).refused(".: this is not a file")
	s.do(`ohmkeep survey shelf.toml --store no/shelf.db`).refused("no/shelf.db: its directory does not exist")
}

// A meter that has no current range is not asked to read current.
func TestSurveyWithoutClamp(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf[:strings.LastIndex(shelf, "  [[meter.range]]")])
	o := s.answer("\n5.08\n5.05\n", `ohmkeep survey shelf.toml --all --store shelf.db`).exits(Passes).prints("2 readings stored").
		says("No current is asked for: the run file describes no meter of your own for it")
	if strings.Contains(o.faults, "in A") {
		t.Error(o.faults)
	}
}

// A board reads what has its place, the person the rest.
func TestSurveyWithBoard(t *testing.T) {
	s := newParallelSession(t)
	port := sensor(t)
	s.write("quick.toml", plain)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"board\"\nprofile = \"quick.toml\"\nport = \""+port+
		"\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n")
	o := s.answer("\n5.083\n", `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes).prints("2 readings stored")
	if strings.Contains(o.faults, "current of feed") {
		t.Error("the person is asked for what the board reads")
	}
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",dark,current,near,,1.2500,A,quick\n", ",dark,voltage,A+,A-,5.083,V,bench\n")
}

// A probe that is not there is named, and its place is asked for. A port that cannot be one ends the survey
// before it begins.
func TestSurveyWithoutBoard(t *testing.T) {
	s := newSession(t)
	s.write("quick.toml", plain)
	probe := func(port string) string {
		return "[[probe]]\nname = \"board\"\nprofile = \"quick.toml\"\nport = \"" + port +
			"\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n"
	}
	s.write("shelf.toml", shelf+probe("nowhere"))
	s.answer("\n5.083\n0.31\n", `ohmkeep survey shelf.toml --all --step dark --store shelf.db`).exits(Passes).prints("2 readings stored").
		says("probe board: port nowhere: no such file or directory: is the device plugged in? - it is not used: type what your own meters show", "the current of feed near, in A")
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",dark,current,near,,0.31,A,bench\n")
	s.write("wrong.toml", shelf+probe("quick.toml"))
	s.do(`ohmkeep survey wrong.toml --all --store wrong.db`).refused("probe board: port quick.toml: is a file, not a serial port")
	s.holds("quick.toml", "shelf.db", "shelf.toml", "wrong.toml")
}

// watcher calls when a text was written.
type watcher struct {
	bytes.Buffer
	text string
	call func()
}

func (w *watcher) Write(data []byte) (int, error) {
	n, err := w.Buffer.Write(data)
	if strings.Contains(w.String(), w.text) {
		w.call()
	}
	return n, err
}

// An interrupt pauses a survey that waits for an answer, as p does. The readings taken are kept.
func TestSurveyInterrupted(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	typed, keys := io.Pipe()
	defer keys.Close()
	go func() { _, _ = io.WriteString(keys, "\n5.083\n") }()
	said := &watcher{text: "in A (s = leave out)", call: stop}
	var out bytes.Buffer
	ended := make(chan int, 1)
	go func() { ended <- Run(ctx, split("survey shelf.toml --all --store shelf.db"), typed, &out, said) }()
	select {
	case status := <-ended:
		if status != Passes || out.String() != "1 reading stored in shelf.db\n" || !strings.Contains(said.String(), "\nPaused. The same command goes on.\n") || strings.Contains(said.String(), "stopped") {
			t.Errorf("exits %d, prints %q, says %s", status, out.String(), said.String())
		}
	case <-time.After(time.Minute):
		t.Fatal("still waits for an answer")
	}
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints("5.083")
}

// A meter that is carried about is led from place to place.
func TestSurveyWithCarriedMeter(t *testing.T) {
	s := newParallelSession(t)
	port := multimeter(t)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"meter\"\nprofile = \"scpi-multimeter\"\nport = \""+port+
		"\"\n[[probe.channel]]\nid = \"leads\"\nquantity = \"voltage\"\n")
	s.answer("\n\n0.31\n\ns\n", `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes).prints("3 readings stored").
		says("leads on A+ to A-, then Enter", "the current of feed near, in A", "leads on left.end+ to left.end-")
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(
		",dark,voltage,A+,A-,+4.81230000E+00,V,scpi-multimeter\n", ",dark,current,near,,0.31,A,bench\n", "left.start+")
}

// A reading that was typed wrongly is taken out, and asked for again.
func TestSurveyGoesBack(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf[:strings.LastIndex(shelf, "  [[meter.range]]")])
	s.answer("u\n\nu\n\n5.80\nu\nr\nu\n5.08\nn a cracked cover\np\n", `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes).prints("1 reading stored").
		says("there is nothing to take back", "withdrawn: voltage A+ to A-, 5.80 V at ", "put back: voltage A+ to A-, 5.80 V at ", "noted", "Paused. The same command goes on.")
	o := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",dark,voltage,A+,A-,5.08,V,bench\n")
	if strings.Contains(o.out, "5.80") {
		t.Errorf("exported\n%s", o.out)
	}
	s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("reading withdrawn   A+ A-  5.80 V of ", "in step dark: in the survey", "noted on the walk: a cracked cover")
	s.answer("", `ohmkeep survey shelf.toml --store shelf.db --all --step dark`).exits(Passes).prints("0 readings stored").says("The walk goes on: 1 taken, 6 left")
	s.answer("", `ohmkeep survey shelf.toml --store shelf.db --all --step dark --again`).exits(Passes).says(`Step "dark", 0 taken, 7 left`)
}

// survey runs the command with a person who does what it asks.
func (s session) survey(person *surveyor, line string) (status int, out string) {
	s.Helper()
	var printed bytes.Buffer
	status = Run(s.Context(), split(line)[1:], person, &printed, person)
	return status, printed.String()
}

// A person follows the plan to its end, and mistypes once: that reading is asked again at once, with the
// mistake named, and the store has the right one only. Nothing is asked that the plan does not need.
func TestSurveyToTheEnd(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	person := newSurveyor(t, runtest.Load(t, "shelf.toml"))
	wrong := ""
	person.mistake = func(step, from, to, typed string) string {
		if wrong == "" && strings.TrimSuffix(from, "+") == strings.TrimSuffix(to, "-") && len(person.typed) > 5 {
			wrong = typed
			return "-" + typed
		}
		return typed
	}
	status, out := s.survey(person, `ohmkeep survey shelf.toml --store shelf.db`)
	said := person.text()
	if status != Passes || !strings.Contains(said, "Done: everything is settled.") {
		t.Fatalf("exits %d: %s\n%s", status, out, said)
	}
	if want := "contradicts what was read before: 4.815 V to 4.875 V was expected. Its leads may have been reversed. Read it again."; !strings.Contains(said, want) {
		t.Errorf("typed -%s, said\n%s", wrong, said)
	}
	if !strings.Contains(said, "settled: joint left-right passes") || len(person.typed) > 12 {
		t.Errorf("%d values typed of a run with three steps of eight\n%s", len(person.typed), said)
	}
	exported := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out
	if n := strings.Count(exported, "\n") - 1; n != len(person.typed)-1 || !strings.Contains(out, count(n, "reading")+" stored") {
		t.Errorf("%d typed, %s\n%s", len(person.typed), out, exported)
	}
	s.do(`ohmkeep assess shelf.toml --store shelf.db`).exits(Passes)
	s.answer("", `ohmkeep survey shelf.toml --store shelf.db`).exits(Passes).says("Done: everything is settled.")
}

// Everything that was acknowledged before the program is killed is stored, and the walk goes on there.
func TestSurveyKilled(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	keys := []string{"", "5.083", "310 mA", "5.05", "4.98"}
	for n := range keys {
		program := process("survey", "shelf.toml", "--all", "--step", "dark", "--store", "shelf.db")
		typed, err := program.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		said := &watchtest.Log{}
		program.Stderr = said
		if err := program.Start(); err != nil {
			t.Fatal(err)
		}
		until := func(text string) {
			for begun := time.Now(); !strings.Contains(said.String(), text); time.Sleep(time.Millisecond) {
				if time.Since(begun) > time.Minute {
					t.Fatalf("never says %q but\n%s", text, said)
				}
			}
		}
		if n > 1 {
			until(fmt.Sprintf("The walk goes on: %d taken", n-1))
		}
		until("(s = leave out): ")
		before := strings.Count(said.String(), "(s = leave out): ")
		io.WriteString(typed, keys[n]+"\n")
		for begun := time.Now(); strings.Count(said.String(), "(s = leave out): ") == before; time.Sleep(time.Millisecond) {
			if time.Since(begun) > time.Minute {
				t.Fatalf("asks no more\n%s", said)
			}
		}
		if err := program.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = program.Wait() // it was killed
	}
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints("5.083", "310", "5.05", "4.98")
	s.do(`ohmkeep store check shelf.db`).exits(Passes)
}

// Practice stores nothing, and says what was wrong with the simulated run.
func TestSurveyPractises(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	s.answer("\n\ns\n", `ohmkeep survey shelf.toml --practise --step dark`).exits(Passes).
		prints("practice: 1 simulated reading, none stored; ").says("Practice: a simulated run with one fault. Nothing is stored.", "leads on A+ to A-, then Enter")
	s.do(`ohmkeep survey shelf.toml --practise --store shelf.db`).refused("ohmkeep survey: --practise stores nothing, and takes no --store")
	s.holds("shelf.toml")
}

// On a narrow terminal no line of a question is longer than the terminal is wide.
func TestSurveyOnNarrowTerminal(t *testing.T) {
	t.Setenv("COLUMNS", "40")
	s := newSession(t)
	s.write("shelf.toml", shelf)
	o := s.answer("\n5.08\n-0.31\n\n5.05\ns\n4 mV\n", `ohmkeep survey shelf.toml --all --store shelf.db --step "white 5 %"`).exits(Passes)
	for line := range strings.Lines(strings.TrimSuffix(o.faults, "next: ohmkeep assess shelf.toml --store shelf.db\n")) {
		for part := range strings.SplitSeq(strings.TrimRight(line, "\n"), "(s = leave out): ") {
			if n := len([]rune(part)); n > 40 {
				t.Errorf("%d columns: %s", n, line)
			}
		}
	}
}
