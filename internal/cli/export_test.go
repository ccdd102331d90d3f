package cli

import (
	"maps"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// Both forms of an export are imported again and exported the same, to the byte.
func TestExportRoundTrip(t *testing.T) {
	s := newSession(t)
	s.board(3, 0, 0, 0)
	s.do(`ohmkeep import gallery.toml months.csv --store a.db`).exits(Passes)
	s.do(`ohmkeep export gallery.toml --store a.db > a.csv`).exits(Passes)
	s.do(`ohmkeep export gallery.toml --store a.db --format openmetrics > a.om`).exits(Passes)
	s.do(`ohmkeep import gallery.toml a.csv --store b.db`).exits(Passes)
	n := s.do(`ohmkeep import gallery.toml a.om --store c.db`).exits(Passes).out
	for _, from := range []string{"b.db", "c.db"} {
		s.do(`ohmkeep export gallery.toml --store ` + from + ` > z.csv`).exits(Passes)
		s.do(`ohmkeep export gallery.toml --store ` + from + ` --format openmetrics > z.om`).exits(Passes)
		if s.content("z.csv") != s.content("a.csv") || s.content("z.om") != s.content("a.om") {
			t.Errorf("%s exports other readings than a.db", from)
		}
	}
	if rows := strings.Count(s.content("a.csv"), "\n") - 1; rows < 250 || !strings.HasPrefix(n, strconv.Itoa(rows)+" readings stored") {
		t.Errorf("%d rows exported, %s", rows, n)
	}
	s.do(`ohmkeep import gallery.toml a.om --store c.db`).exits(Passes).prints("0 readings stored in c.db")

	s.write("cut.om", strings.TrimSuffix(s.content("a.om"), "# EOF\n"))
	s.do(`ohmkeep import gallery.toml cut.om --store d.db`).refused("the text does not end with # EOF")
	s.do(`ohmkeep assess gallery.toml a.om --json`)
}

// A part of the time is exported in both forms.
func TestExportOfSomeTime(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	rows := strings.SplitAfter(s.content("readings.csv"), "\n")
	since, _, _ := strings.Cut(rows[3], ",")
	until, _, _ := strings.Cut(rows[9], ",")
	window := " --store shelf.db --since " + since + " --until " + until
	if got, want := s.do("ohmkeep export shelf.toml"+window).exits(Passes).out, rows[0]+strings.Join(rows[3:9], ""); got != want {
		t.Errorf("exported\n%s\nwant\n%s", got, want)
	}
	s.do("ohmkeep export shelf.toml" + window + " --format openmetrics > some.om").exits(Passes)
	s.do("ohmkeep import shelf.toml some.om --store some.db").exits(Passes).prints("6 readings stored")

	s.do("ohmkeep export shelf.toml --store shelf.db --since yesterday").refused(`--since: "yesterday" is not a time`)
	s.do("ohmkeep export shelf.toml --store shelf.db --until 12:00").refused(`--until: "12:00" is not a time`)
	s.do("ohmkeep export shelf.toml --store shelf.db --format json").refused(`--format: "json" is not a form of readings`)
}

// Promtool, a general-purpose tool of the metrics database, makes blocks of an export;
// what it says is in them are our readings, in base units, each once.
func TestExportIsOpenMetrics(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed: whether exports are OpenMetrics was not checked")
	}
	s := newSession(t)
	s.board(3, 0, 0, 0)
	s.do(`ohmkeep import gallery.toml months.csv --store a.db`).exits(Passes)
	s.do(`ohmkeep export gallery.toml --store a.db --format openmetrics > a.om`).exits(Passes)
	// One block for all days: by default it makes one every two hours, which takes seconds.
	if out, err := exec.Command(tool, "tsdb", "create-blocks-from", "openmetrics", "--max-block-duration=1440h", "a.om", "blocks").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if err := os.MkdirAll("blocks/wal", 0o755); err != nil { // older ones of it open no database without
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "tsdb", "dump", "blocks").Output()
	if err != nil {
		t.Fatal(err)
	}
	held := map[string]int{} // times, in ms, and numbers, without regard to labels
	for line := range strings.Lines(string(out)) {
		// {__name__="…", from="A+", …} 5.1125 1772323200000
		_, rest, _ := strings.Cut(line, "} ")
		fields := strings.Fields(rest)
		value, err := strconv.ParseFloat(fields[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		held[fields[1]+" "+strconv.FormatFloat(value, 'g', 9, 64)]++
	}
	want := map[string]int{}
	set := s.readings("gallery.toml", "months.csv")
	for _, x := range set {
		want[strconv.FormatInt(x.Time.UnixMilli(), 10)+" "+strconv.FormatFloat(x.Value, 'g', 9, 64)]++
	}
	if len(set) < 250 || !maps.Equal(held, want) {
		t.Errorf("%d different samples in the blocks, %d different readings of %d", len(held), len(want), len(set))
	}
	for _, name := range []string{`from="west.start+"`, `step="check"`, `run="Gallery"`, `__name__="ohmkeep_current_amperes"`, `at="west"`} {
		if !strings.Contains(string(out), name) {
			t.Errorf("no %s in the blocks", name)
		}
	}
}
