package csv_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run"
)

// hall is an invented run with meters whose ranges count in steps.
var hall = &run.Run{
	Name:  "Hall", // invented
	Reels: []run.Reel{{Name: "west", Pixels: 240, Follows: -1}},
	Feeds: []run.Feed{{Name: "near"}},
	Steps: []run.Step{{Name: "white"}},
	Meters: []run.Meter{{Name: "hand", Ranges: []run.Range{
		{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001}, {Quantity: run.Voltage, UpTo: 60, Resolution: 0.01},
		{Quantity: run.Current, UpTo: 10, Resolution: 0.01}, {Quantity: run.Temperature, UpTo: 400, Resolution: 0.1}}}},
}

// sheet is a file with a header and rows of voltages at one place: time, value, unit.
func sheet(rows ...[3]string) string {
	text := head
	for _, x := range rows {
		quoted := strings.NewReplacer("T", x[0], "W", x[1], "U", x[2]).Replace(`"T",white,voltage,west.start+,west.start-,"W",U,hand`)
		text += quoted + "\n"
	}
	return text
}

// in sets the machine's zone for a test.
func in(t *testing.T, zone string) {
	t.Helper()
	place, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	here := time.Local
	time.Local = place
	t.Cleanup(func() { time.Local = here })
}

const at = "2026-03-01T19:30:00+01:00"

// What spreadsheets make of three voltages is the same three voltages, with the digits
// that were written. Forms as Excel and LibreOffice export them in German, French, British
// and American settings (FROM MEMORY).
func TestSpreadsheetsGiveTheSameReadings(t *testing.T) {
	in(t, "Europe/Berlin")
	plain := sheet([3]string{at, "4.812", "V"}, [3]string{at, "4.80", "V"}, [3]string{at, "812", "mV"})
	semicolons := strings.NewReplacer(",", ";").Replace(sheet([3]string{"01.03.2026 19:30", "4.812", "V"}, [3]string{"1.3.2026 19:30:00", "4.80", "V"}, [3]string{"01.03.2026 19:30", "812", "mV"}))
	commas := strings.NewReplacer("4.8", "4,8").Replace(semicolons)
	for name, c := range map[string]struct {
		text  string
		notes []string
	}{
		"contract form": {plain, nil},
		"semicolons":    {semicolons, []string{"semicolons between the columns", "times without a zone as this machine's"}},
		"decimal commas": {commas,
			[]string{"semicolons between the columns", "times without a zone as this machine's", "decimal commas"}},
		"tabs": {strings.ReplaceAll(plain, ",", "\t"), []string{"tabs between the columns"}},
		"commas in a file of commas": {sheet([3]string{at, "4,812", "V"}, [3]string{at, "4,80", "V"}, [3]string{at, "812", "mV"}),
			[]string{"decimal commas"}},
		"separator named":     {"sep=;\n" + commas, []string{"semicolons between the columns", "times without a zone as this machine's", "decimal commas"}},
		"carriage returns":    {strings.ReplaceAll(commas, "\n", "\r"), []string{"semicolons between the columns", "lines that end with a carriage return", "times without a zone as this machine's", "decimal commas"}},
		"byte order mark":     {"\ufeff" + plain, nil},
		"UTF-16 little first": {utf16Text(plain, true), []string{"UTF-16"}},
		"UTF-16 big first":    {utf16Text(plain, false), []string{"UTF-16"}},
		"no zone":             {strings.ReplaceAll(plain, "+01:00", ""), []string{"times without a zone as this machine's"}},
		"space before the time": {strings.ReplaceAll(strings.ReplaceAll(plain, "T19", " 19"), ":00+01:00", ""),
			[]string{"times without a zone as this machine's"}},
		"twelve hours, month first": {sheet([3]string{"3/1/2026 7:30 PM", "4.812", "V"}, [3]string{"3/1/2026 07:30:00 p.m.", "4.80", "V"},
			[3]string{"3/1/2026 7:30PM", "812", "mV"}, [3]string{"12/31/2025 12:05 AM", "4.9", "V"}),
			[]string{"dates with the month first", "times without a zone as this machine's"}},
		"day first": {sheet([3]string{"01/03/2026 19:30", "4.812", "V"}, [3]string{"1/3/2026 19:30", "4.80", "V"},
			[3]string{"01-03-2026 19:30", "812", "mV"}, [3]string{"31/12/2025 00:05", "4.9", "V"}),
			[]string{"dates with the day first", "times without a zone as this machine's"}},
	} {
		set, err := csv.Parse("r.csv", strings.NewReader(c.text), hall)
		if err != nil || len(set.Readings) < 3 {
			t.Errorf("%s: %v, %+v", name, err, set.Readings)
			continue
		}
		for i, want := range []string{"4.812 V", "4.80 V", "812 mV"} {
			x := set.Readings[i]
			if got := x.Text + " " + x.Unit; got != want || x.Time.Format(time.RFC3339) != at {
				t.Errorf("%s: %s at %s, want %s", name, got, x.Time.Format(time.RFC3339), want)
			}
		}
		if len(set.Readings) > 3 && set.Readings[3].Time.Format(time.RFC3339) != "2025-12-31T00:05:00+01:00" {
			t.Errorf("%s: midnight is %v", name, set.Readings[3].Time)
		}
		if !slices.Equal(set.Notes, c.notes) {
			t.Errorf("%s: notes %q, want %q", name, set.Notes, c.notes)
		}
	}
}

func utf16Text(text string, little bool) string {
	var b strings.Builder
	for _, u := range utf16.Encode([]rune("\ufeff" + text)) {
		high, low := byte(u>>8), byte(u)
		if little {
			high, low = low, high
		}
		b.WriteByte(high)
		b.WriteByte(low)
	}
	return b.String()
}

// Where two readings are possible the row is refused, and the message names both.
func TestAmbiguousCells(t *testing.T) {
	in(t, "Europe/Berlin")
	for name, c := range map[string]struct {
		rows [][3]string
		want string // the fault of the first row; "" = it is read
		text string
	}{
		"comma":                      {[][3]string{{at, "1,234", "mV"}}, `value: "1,234" can be 1.234 and 1234`, ""},
		"comma that the file tells":  {[][3]string{{at, "1,234", "mV"}, {at, "12,5", "mV"}}, "", "1.234"},
		"comma that the meter tells": {[][3]string{{at, "1,234", "V"}}, "", "1.234"},
		"comma told by another unit": {[][3]string{{at, "1,234", "mV"}, {at, "4,812", "V"}}, "", "1.234"},
		"point in a file of commas":  {[][3]string{{at, "1.234", "mV"}, {at, "12,5", "mV"}}, `value: "1.234" can be 1234 and 1.234`, ""},
		"commas and points":          {[][3]string{{at, "1,234", "mV"}, {at, "12,5", "mV"}, {at, "12.5", "mV"}}, `value: "1,234" can be`, ""},
		"both signs in one number":   {[][3]string{{at, "1.234,5", "mV"}}, "", "1234.5"},
		"both signs the other way":   {[][3]string{{at, "1,234.5", "mV"}}, "", "1234.5"},
		"a point alone":              {[][3]string{{at, "1.234", "mV"}}, "", "1.234"},
		"day and month":              {[][3]string{{"03/04/2026 10:00", "4.8", "V"}}, "time: 03/04/2026 10:00 can be 3 April and 4 March (write 2026-04-03 or 2026-03-04)", ""},
		"day and month, told":        {[][3]string{{"03/04/2026 10:00", "4.8", "V"}, {"03/14/2026 10:00", "4.8", "V"}}, "", "4.8"},
		"day and month, told apart":  {[][3]string{{"03/04/2026 10:00", "4.8", "V"}, {"03/14/2026 10:00", "4.8", "V"}, {"14/03/2026 10:00", "4.8", "V"}}, "time: 03/04/2026", ""},
		"the same day either way":    {[][3]string{{"03/03/2026 10:00", "4.8", "V"}}, "", "4.8"},
		// Clocks in Berlin go from 02:00 to 03:00 on 2026-03-29 and from 03:00 to 02:00 on 2026-10-25 (directive 2000/84/EC: the
		// last Sundays of March and October at 01:00 UTC).
		"an hour that is not":      {[][3]string{{"29.03.2026 02:30", "4.8", "V"}}, "time: 29.03.2026 02:30 does not exist in the zone", ""},
		"an hour that comes twice": {[][3]string{{"25.10.2026 02:30", "4.8", "V"}}, "time: 25.10.2026 02:30 comes twice in the zone", ""},
		"the same with its offset": {[][3]string{{"2026-10-25 02:30 +0100", "4.8", "V"}}, "", "4.8"},
		"no unit":                  {[][3]string{{at, "5", ""}}, "unit: the unit is missing: 5 can be in V or mV", ""},
		"no unit, told by another": {[][3]string{{at, "5", ""}, {at, "4.812", ""}}, "", "5"},
		"no unit that fits":        {[][3]string{{at, "4.8123", ""}}, "unit: the unit is missing, and 4.8123 fits no range", ""},
		"no time in one row":       {[][3]string{{"", "4.8", "V"}, {at, "4.8", "V"}}, `time: "" is not a time`, ""},
	} {
		set, err := csv.ParseGood("r.csv", strings.NewReader(sheet(c.rows...)), hall)
		switch {
		case err != nil:
			t.Errorf("%s: %v", name, err)
		case c.want == "":
			if len(set.Readings) == 0 || set.Readings[0].Row != 2 || set.Readings[0].Text != c.text {
				t.Errorf("%s: %+v, %v", name, set.Readings, set.Bad)
			}
		case len(set.Bad) == 0 || set.Bad[0].Line != 2 || !strings.Contains(set.Bad[0].Error(), c.want):
			t.Errorf("%s: got %v, want %s", name, set.Bad, c.want)
		}
	}
}

// A unit follows from the range that counts in such steps: 4.812 of a meter with 6.000 V
// and 60.00 V is volts, 4812 millivolts.
func TestUnitThatOnlyOneRangeFits(t *testing.T) {
	text := "step,quantity,from,to,value,meter\nwhite,voltage,west.start+,west.start-,4812,hand\nwhite,temperature,west,,21.5,hand\n" +
		"white,voltage,west.end+,west.end-,4700,hand\nwhite,current,near,,2.31,hand\n"
	name := filepath.Join(t.TempDir(), "r.csv")
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	written := time.Date(2026, 3, 1, 18, 30, 0, 0, time.UTC)
	if err := os.Chtimes(name, written, written); err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	set, err := csv.Parse("r.csv", file, hall)
	if err != nil || len(set.Readings) != 4 {
		t.Fatalf("%+v, %v", set, err)
	}
	for i, want := range []string{"4812 mV", "21.5 degC", "4700 mV", "2.31 A"} {
		if x := set.Readings[i]; x.Text+" "+x.Unit != want || !x.Time.Equal(written) {
			t.Errorf("%s %s at %v, want %s at %v", x.Text, x.Unit, x.Time, want, written)
		}
	}
	if notes := strings.Join(set.Notes, "; "); !strings.Contains(notes, "no times: every line is dated 2026-03-01 ") ||
		!strings.Contains(notes, `a voltage by meter "hand" without a unit in mV, which alone fits its ranges`) {
		t.Errorf("notes %q", set.Notes)
	}
}

// OL is what a display shows beyond its range: a row that is understood, and no value.
func TestOverloadIsNoValue(t *testing.T) {
	set, err := csv.Parse("r.csv", strings.NewReader(sheet([3]string{at, "OL", "V"}, [3]string{at, ".OL", ""}, [3]string{at, "-0.L", "V"},
		[3]string{at, "4.8", "V"})), hall)
	if err != nil || len(set.Readings) != 1 || len(set.Unmeasured) != 3 {
		t.Fatalf("%+v, %v", set, err)
	}
	for _, x := range set.Unmeasured {
		if x.Quality != reading.Overload || x.Value != 0 || x.Unit != "V" {
			t.Errorf("%+v", x)
		}
	}
	for _, text := range []string{"L", "O", "OLL", "0", "LO", "1L"} {
		if _, err := csv.Parse("r.csv", strings.NewReader(sheet([3]string{at, text, ""})), hall); err == nil && text != "0" {
			t.Errorf("%s is taken for an overload", text)
		}
	}
}
