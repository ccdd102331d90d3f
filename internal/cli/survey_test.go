package cli

import (
	"bytes"
	"context"
	"io"
	"strings"
	"testing"
	"time"
)

// A step of the shelf asks for the supply, the feed's current, and the pairs at
// left.start, left.end, the joint's plus and minus, right.start and right.end.
func TestSurveyTypedIn(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	o := s.answer(strings.Join([]string{"",
		"5.083", "310 mA", "5.05V", "s", "4 mV", "12.1uA", "12,1 mV", "12.1 mV", "-", "4.9e0", // the next is missing
	}, "\n"), `ohmkeep survey shelf.toml --store shelf.db --step dark`).exits(Passes)
	o.prints("6 readings stored in shelf.db\n").says(
		`Step 1 of 1: make the run show "dark"`, "A+ to A-, in V", `the current of feed "near", in A`,
		"left.end+ to left.end-: left out, as asked", "a voltage is not given in uA", `"12,1" is not a decimal number (decimals are set off by a point)`,
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

func TestSurveyLeavesStepsOut(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.answer("s\n\n5.08\n99\n", `ohmkeep survey shelf.toml --store shelf.db --step dark --step "white 5 %"`).exits(Passes).
		prints("2 readings stored").says("Step 2 of 2")
	if out := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; strings.Contains(out, "dark") || strings.Count(out, "white 5 %") != 2 {
		t.Error(out)
	}
	s.answer("", `ohmkeep survey shelf.toml --store none.db`).exits(Passes).prints("0 readings stored")
	s.answer("\n12.5\n", `ohmkeep survey shelf.toml --store high.db`).exits(Passes).prints("0 readings stored").
		says(`A+ to A-: left out, 12.5 V is more than meter "bench" is described for`)
	s.do(`ohmkeep survey shelf.toml --store shelf.db --step drak`).refused(`shelf.toml: --step: no step is named "drak" (did you mean "dark"?)`)
	s.do(`ohmkeep survey shelf.toml --store .`).refused(".: this is not a file")
	s.do(`ohmkeep survey shelf.toml --store no/shelf.db`).refused("no/shelf.db: its directory does not exist")
}

// A meter that has no current range is not asked to read current.
func TestSurveyWithoutClamp(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf[:strings.LastIndex(shelf, "  [[meter.range]]")])
	o := s.answer("\n5.08\n5.05\n", `ohmkeep survey shelf.toml --store shelf.db`).exits(Passes).prints("2 readings stored").
		says("no current is asked for: the run file describes no meter of your own for it")
	if strings.Contains(o.faults, "in A") {
		t.Error(o.faults)
	}
}

// A board reads what has its place, the person the rest.
func TestSurveyWithBoard(t *testing.T) {
	s := newSession(t)
	port := sensor(t)
	s.write("quick.toml", plain)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"board\"\nprofile = \"quick.toml\"\nport = \""+port+
		"\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n")
	o := s.answer("\n5.083\n", `ohmkeep survey shelf.toml --store shelf.db --step dark`).exits(Passes).prints("2 readings stored")
	if strings.Contains(o.faults, "current of feed") {
		t.Error("the person is asked for what the board reads")
	}
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",dark,current,near,,1.2500,A,quick\n", ",dark,voltage,A+,A-,5.083,V,bench\n")
}

// A probe that is not there ends the survey before it begins.
func TestSurveyWithoutBoard(t *testing.T) {
	s := newSession(t)
	s.write("quick.toml", plain)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"board\"\nprofile = \"quick.toml\"\nport = \"nowhere\"\n"+
		"[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n")
	s.do(`ohmkeep survey shelf.toml --store shelf.db`).refused("probe board: port nowhere: no such file or directory")
	s.holds("quick.toml", "shelf.toml")
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

// An interrupt ends a survey that waits for an answer. The readings taken are kept.
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
	go func() { ended <- Run(ctx, split("survey shelf.toml --store shelf.db"), typed, &out, said) }()
	select {
	case status := <-ended:
		if status != Wrong || out.String() != "1 reading stored in shelf.db\n" || !strings.HasSuffix(said.String(), "stopped\n") {
			t.Errorf("exits %d, prints %q, says %s", status, out.String(), said.String())
		}
	case <-time.After(time.Minute):
		t.Fatal("still waits for an answer")
	}
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints("5.083")
}

// A meter that is carried about is led from place to place.
func TestSurveyWithCarriedMeter(t *testing.T) {
	s := newSession(t)
	port := multimeter(t)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"meter\"\nprofile = \"scpi-multimeter\"\nport = \""+port+
		"\"\n[[probe.channel]]\nid = \"leads\"\nquantity = \"voltage\"\n")
	s.answer("\n\n0.31\n\ns\n", `ohmkeep survey shelf.toml --store shelf.db --step dark`).exits(Passes).prints("3 readings stored").
		says("leads on A+ to A-, then Enter", `the current of feed "near", in A`, "leads on left.end+ to left.end-")
	s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(
		",dark,voltage,A+,A-,+4.81230000E+00,V,scpi-multimeter\n", ",dark,current,near,,0.31,A,bench\n", "left.start+")
}

// A reading that was typed wrongly is taken out, and asked for again.
func TestSurveyGoesBack(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf[:strings.LastIndex(shelf, "  [[meter.range]]")])
	s.answer("\nu\n5.80\nu\n5.08\n", `ohmkeep survey shelf.toml --store shelf.db --step dark`).exits(Passes).prints("1 reading stored").
		says("nothing was taken in this step that could be taken out", "withdrawn: voltage A+ to A-, 5.80 V at ")
	o := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).prints(",dark,voltage,A+,A-,5.08,V,bench\n")
	if strings.Contains(o.out, "5.80") {
		t.Errorf("exported\n%s", o.out)
	}
	s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("reading withdrawn   A+ A-  5.80 V of ", "in step dark: in the survey")
}
