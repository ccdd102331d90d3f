package cli

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/analysis"
	"ohmkeep/internal/watch/storage/storagetest"
)

func TestImportAndExport(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes).prints("24 readings stored in shelf.db\n")
	s.do(`ohmkeep export shelf.toml --store shelf.db > again.csv`).exits(Passes)
	if got, want := s.content("again.csv"), s.content("readings.csv"); got != want {
		t.Errorf("stored\n%s\nexported\n%s", want, got)
	}
	s.do(`ohmkeep import shelf.toml again.csv --store shelf.db`).exits(Passes).prints("0 readings stored in shelf.db, 24 already there\n")
	s.do(`ohmkeep import shelf.toml - --store other.db < readings.csv`).exits(Passes).prints("24 readings stored in other.db\n")
	s.do(`ohmkeep export shelf.toml --store shelf.db > thrice.csv`).exits(Passes)
	if s.content("thrice.csv") != s.content("again.csv") {
		t.Error("what was there already is stored again")
	}
}

// What people write by hand comes back as they wrote it.
func TestExportKeepsDigits(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	hand := `time,step,quantity,from,to,value,unit,meter
2026-03-01T09:00:00.25+01:00,dark,voltage,A+,A-,5.10,V,bench
2026-03-01T09:01:00+01:00,,current,near,,+3.10E+02,mA,bench
2026-03-01T08:02:00Z,white 5 %,temperature,left,,21,degC,bench
`
	s.write("hand.csv", hand)
	s.do(`ohmkeep import shelf.toml hand.csv --store shelf.db`).exits(Passes)
	if got := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; got != hand {
		t.Errorf("written\n%s\nexported\n%s", hand, got)
	}
}

// What a spreadsheet makes of readings is the same readings, and how it was read is said.
func TestImportSpreadsheet(t *testing.T) {
	here := time.Local
	defer func() { time.Local = here }()
	time.Local = time.UTC
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.write("sheet.csv", "\ufeffstep;time;quantity;from;to;value;unit;meter\r\n"+
		"dark;01.03.2026 09:00;voltage;A+;A-;5,10;;bench\r\ndark;01.03.2026 09:00;voltage;left.start+;left.start-;OL;;bench\r\n"+
		"dark;01.03.2026 09:00:20;voltage;left.start+;left.start-;5,098;;bench\r\n")
	s.do(`ohmkeep import shelf.toml sheet.csv --store shelf.db`).exits(Passes).prints("3 readings stored").says(
		"sheet.csv: read with semicolons between the columns; decimal commas; times without a zone as this machine's; a voltage by meter \"bench\" without a unit in V",
		"sheet.csv: 1 line of overload, no value (first in line 3)\n")
	want := `time,step,quantity,from,to,value,unit,meter
2026-03-01T09:00:00Z,dark,voltage,A+,A-,5.10,V,bench
2026-03-01T09:00:20Z,dark,voltage,left.start+,left.start-,5.098,V,bench
`
	if got := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; got != want {
		t.Errorf("exported\n%s\nwant\n%s", got, want)
	}
	s.do(`ohmkeep import shelf.toml sheet.csv --store shelf.db`).exits(Passes).prints("0 readings stored in shelf.db, 3 already there")
	var rows strings.Builder
	for range 300 {
		rows.WriteString("dark;gestern;voltage;A+;A-;5,10;V;bench\n")
	}
	s.write("sheet.csv", "step;time;quantity;from;to;value;unit;meter\n"+rows.String())
	o := s.do(`ohmkeep import shelf.toml sheet.csv --store shelf.db`).exits(Wrong).says("sheet.csv:2: time: ", "sheet.csv: time: 290 more like these")
	if n := strings.Count(o.faults, "\n"); n != 11 {
		t.Errorf("%d lines for 300 faults of one kind", n)
	}
}

func TestImportBadRows(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.write("bad.csv", `time,step,quantity,from,to,value,unit,meter
2026-03-01T09:00:00Z,dark,voltage,A+,A-,5.10,V,bench
2026-03-01T09:00:20Z,drak,voltage,A+,A-,5.10,V,bench
2026-03-01T09:00:40Z,dark,voltage,left.start+,left.strat-,5.0x,V,bench
yesterday,dark,current,near,,0.3,A,bench
2026-03-01T09:01:00Z,dark,current,near,,0.3,A,bench
2026-03-01T09:01:00Z,dark,current,near,,0.3,A,bench
`)
	o := s.do(`ohmkeep import shelf.toml bad.csv --store shelf.db`).exits(Wrong).says(
		`bad.csv:3: step: no step is named "drak" (did you mean "dark"?)`+"\n", "bad.csv:4: to: ", "bad.csv:4: value: ", "bad.csv:5: time: ")
	if n := strings.Count(o.faults, "\n"); n != 4 || o.out != "" {
		t.Errorf("%d lines for 4 faults, and prints %q", n, o.out)
	}
	s.holds("bad.csv", "shelf.toml")

	s.do(`ohmkeep import shelf.toml bad.csv --store shelf.db --skip-bad`).exits(Passes).prints("2 readings stored in shelf.db\n").
		says("bad.csv:5: time: ", "bad.csv: 3 bad lines left out\n", "bad.csv: 1 repeated line left out (line 7 repeats line 6)\n")
	before := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out
	if n := strings.Count(before, "\n"); n != 3 {
		t.Errorf("%d lines of a header and 2 readings", n)
	}
	s.write("worse.csv", strings.Replace(before, "5.10", "5.11", 1)+"2026-03-01T09:02:00Z,dark,current,near,,0.3,V,bench\n")
	s.do(`ohmkeep import shelf.toml worse.csv --store shelf.db`).refused("worse.csv:4: unit: a current is not given in V")
	if after := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; after != before {
		t.Errorf("a refused file left something:\n%s", after)
	}
}

func TestStoreFaults(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	for line, want := range map[string]string{
		`ohmkeep import shelf.toml readings.csv`:                        "ohmkeep import: wants --store FILE (see ohmkeep import --help)",
		`ohmkeep import shelf.toml readings.csv --store ""`:             "wants --store FILE",
		`ohmkeep import shelf.toml readings.csv --store .`:              ".: this is not a file",
		`ohmkeep import shelf.toml readings.csv --store no/shelf.db`:    "no/shelf.db: its directory does not exist",
		`ohmkeep import shelf.toml readings.csv --store readings.csv`:   "readings.csv: this is not a store",
		`ohmkeep import shelf.toml none.csv --store shelf.db`:           "none.csv: no such file or directory",
		`ohmkeep import shelf.toml . --store shelf.db`:                  ".: is a directory",
		`ohmkeep import none.toml readings.csv --store shelf.db`:        "none.toml: no such file or directory",
		`ohmkeep import readings.csv shelf.toml --store shelf.db`:       "readings.csv: is a file of readings, where a run file is wanted (the run file comes first, then the readings)",
		`ohmkeep import shelf.toml --store shelf.db`:                    "wants RUN READINGS.csv, not 1 argument (see",
		`ohmkeep import shelf.toml readings.csv more --store shelf.db`:  "wants RUN READINGS.csv, not 3 arguments (see",
		`ohmkeep export shelf.toml`:                                     "ohmkeep export: wants --store FILE (see",
		`ohmkeep export shelf.toml --store none.db`:                     "none.db: there is no such store",
		`ohmkeep export shelf.toml readings.csv --store shelf.db`:       "wants RUN, not 2 arguments",
		`ohmkeep import shelf.toml readings.csv --store shelf.db --bad`: "ohmkeep import: unknown flag: --bad (see",
	} {
		s.do(line).refused(want)
	}
	s.holds("readings.csv", "shelf.toml")
}

func TestStoreCare(t *testing.T) {
	s := newParallelSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	before := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out
	s.do(`ohmkeep store check shelf.db`).exits(Passes).prints("shelf.db: 24 readings whole, ")
	s.do(`ohmkeep store check shelf.db --json`).exits(Passes).prints(`{"schema":1,"readings":24,"lost":0,"orphans":0,"bytes":`)
	s.do(`ohmkeep store backup shelf.db copy.db`).exits(Passes).prints("shelf.db copied to copy.db, ")
	s.do(`ohmkeep store backup shelf.db copy.db`).exits(Passes)
	s.do(`ohmkeep store compact copy.db`).exits(Passes).prints("copy.db: ", " bytes, before ")
	if got := s.do(`ohmkeep export shelf.toml --store copy.db`).exits(Passes).out; got != before {
		t.Errorf("the copy exports\n%s\nwant\n%s", got, before)
	}
	s.do(`ohmkeep store backup shelf.db shelf.db`).refused("shelf.db: is read by the same call")
	s.do(`ohmkeep store backup shelf.db .`).refused(".: is a directory")
	s.do(`ohmkeep store check none.db`).refused("none.db: there is no such store")
	s.do(`ohmkeep store check readings.csv`).refused("readings.csv: this is not a store")

	whole := s.content("shelf.db")
	half := len(whole) / 2
	s.write("bad.db", whole[:half]+strings.Repeat("\x00", half)+whole[2*half:])
	o := s.do(`ohmkeep store check bad.db`)
	if o.status != Fails || strings.Count(o.out, "\n") < 2 {
		t.Errorf("check of a damaged store: %d, %s%s", o.status, o.out, o.faults)
	}
	s.do(`ohmkeep store compact bad.db`).exits(Fails).prints("bad.db was damaged and is kept as bad.db.damaged-", ": 0 readings, 24 lost\n",
		"no reading could be rescued")
	s.do(`ohmkeep store check bad.db`).exits(Passes)
}

// Check and compact of a damaged store count the same, and as many as were stored.
func TestDamageIsCounted(t *testing.T) {
	s := newParallelSession(t)
	s.write("shelf.toml", shelf)
	stored := storagetest.Fill(t, s.path("shelf.db"))
	storagetest.Root(t, s.path("shelf.db"), "")
	bad := []byte(s.content("shelf.db"))
	for i := range 4096 {
		bad[len(bad)/2/4096*4096+i] ^= 0x55
	}
	s.write("shelf.db", string(bad))
	var found storeCheck
	if err := json.Unmarshal([]byte(s.do(`ohmkeep store check shelf.db --json`).exits(Fails).out), &found); err != nil {
		t.Fatal(err)
	}
	if found.Readings == 0 || found.Lost == 0 || found.Readings+found.Lost != int64(stored) {
		t.Errorf("%+v of %d readings", found, stored)
	}
	counts := fmt.Sprintf(": %d readings, %d lost\n", found.Readings, found.Lost)
	s.do(`ohmkeep store compact shelf.db`).exits(Passes).prints(counts)
	s.do(`ohmkeep store check shelf.db`).exits(Passes).prints(fmt.Sprintf("shelf.db: %d readings whole", found.Readings))
	if rows := strings.Count(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out, "\n") - 1; int64(rows) != found.Readings {
		t.Errorf("%d rows are exported of %d readings", rows, found.Readings)
	}
}

// A file whose rows turn bad between the check and the storing stores nothing.
func TestWantedEndsWithFaults(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	r := runtest.Load(t, "shelf.toml")
	for skipBad, want := range map[bool]string{false: `bad.csv:3: step: no step is named "drak"`, true: ""} {
		rows, err := csv.Scan("bad.csv", strings.NewReader("time,step,quantity,from,to,value,unit,meter\n"+
			"2026-03-01T09:00:00Z,dark,voltage,A+,A-,5.10,V,bench\n2026-03-01T09:00:20Z,drak,voltage,A+,A-,5.10,V,bench\n"), r)
		if err != nil {
			t.Fatal(err)
		}
		n, last := 0, error(nil)
		for _, err := range validRows(rows, skipBad) {
			if n++; err != nil {
				n, last = n-1, err
			}
		}
		if n != 1 || (want == "") != (last == nil) || last != nil && !strings.HasPrefix(last.Error(), want) {
			t.Errorf("skip bad %v: %d rows, %v", skipBad, n, last)
		}
	}
}

// A wrong reading is taken out of all that is made of a store, kept, and put back.
func TestWithdrawnReadingIsLeftOut(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	before := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out
	rows := strings.SplitAfter(before, "\n")
	f := strings.Split(rows[4], ",")
	at := fmt.Sprintf("--at %s --from %s", f[0], f[3])
	s.do(`ohmkeep store withdraw shelf.toml --store shelf.db`).refused("wants --at TIME")
	s.do(`ohmkeep store withdraw shelf.toml --store shelf.db --at 2020-01-01T00:00:00Z`).refused("there is no reading of 2020-01-01T00:00:00Z to withdraw")
	s.do(`ohmkeep store withdraw shelf.toml swapped --store shelf.db `+at).exits(Passes).prints("withdrawn: "+f[2]+" "+f[3], f[5]+" "+f[6])
	want := strings.Join(append(append([]string{}, rows[:4]...), rows[5:]...), "")
	if got := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; got != want {
		t.Errorf("exported\n%s\nwant\n%s", got, want)
	}
	if n := strings.Count(s.do(`ohmkeep export shelf.toml --store shelf.db --format openmetrics`).exits(Passes).out, "\nohmkeep_"); n != len(rows)-3 {
		t.Errorf("%d samples of %d rows", n, len(rows)-2)
	}
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes).prints("0 readings stored in shelf.db, 24 already there\n")
	s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("reading withdrawn", f[5]+" "+f[6]+" of "+f[0], ": swapped")
	s.do(`ohmkeep store check shelf.db`).exits(Passes).prints("shelf.db: 24 readings whole")
	s.do(`ohmkeep store withdraw shelf.toml --store shelf.db --back ` + at).exits(Passes).prints("put back: ")
	if got := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out; got != before {
		t.Errorf("put back, it exports\n%s\nwant\n%s", got, before)
	}
	s.do(`ohmkeep store withdraw shelf.toml --store shelf.db --back ` + at).refused("to put back")
}

// A note that does not hold is left out by drift, and stays in the list.
func TestWithdrawnNote(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	s.do(`ohmkeep note shelf.toml "re-made all" --store shelf.db --at 2026-03-01T12:00:00Z`).exits(Passes)
	s.do(`ohmkeep note shelf.toml other --store shelf.db --withdraw`).refused(`no note in force reads "other"`)
	s.do(`ohmkeep note shelf.toml "re-made all" --store shelf.db --withdraw`).exits(Passes).prints("withdrawn: re-made all\n")
	s.do(`ohmkeep note shelf.toml "re-made all" --store shelf.db --withdraw`).refused("no note in force")
	s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("re-made all  (withdrawn on ")
	s.do(`ohmkeep note shelf.toml --store shelf.db --json`).exits(Passes).prints(`"text":"re-made all","withdrawn":"`)
	kept, err := store.OpenReadOnly("shelf.db")
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	if notes, err := analysis.Notes(t.Context(), kept, "Book shelf"); err != nil || len(notes) != 0 {
		t.Errorf("%v, %v", notes, err)
	}
}
