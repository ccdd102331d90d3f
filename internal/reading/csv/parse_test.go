package csv_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run"
)

func parse(t *testing.T, text string) csv.Set {
	t.Helper()
	set, err := csv.Parse("r.csv", strings.NewReader(text), cornice)
	if err != nil {
		t.Fatalf("parse: %v", err)
	}
	return set
}

func TestParseReadsEveryQuantity(t *testing.T) {
	set := parse(t, head+row()+
		row("step", "", "value", "-12.5", "unit", "mV")+
		row("quantity", "current", "from", "near", "to", "", "value", "+2.31E+0", "unit", "A", "meter", "shunt")+
		row("quantity", "temperature", "from", "north", "to", "", "value", "21.5", "unit", "degC", "meter", ""))
	want := []reading.Reading{
		{Row: 2, Step: "white 5 %", From: "west.start+", To: "west.start-", Text: "4.812", Unit: "V", Value: 4.812, Meter: "hand"},
		{Row: 3, From: "west.start+", To: "west.start-", Text: "-12.5", Unit: "mV", Value: -0.0125, Meter: "hand"},
		{Row: 4, Step: "white 5 %", Quantity: run.Current, From: "near", Text: "+2.31E+0", Unit: "A", Value: 2.31, Meter: "shunt"},
		{Row: 5, Step: "white 5 %", Quantity: run.Temperature, From: "north", Text: "21.5", Unit: "degC", Value: 21.5, Meter: "hand"},
	}
	at := time.Date(2026, 3, 1, 18, 30, 0, 0, time.UTC)
	for i, x := range set.Readings {
		if _, offset := x.Time.Zone(); !x.Time.Equal(at) || offset != 3600 {
			t.Errorf("row %d: time %v, want %v at +01:00", x.Row, x.Time, at)
		}
		x.Time = time.Time{}
		if x != want[i] {
			t.Errorf("got  %+v\nwant %+v", x, want[i])
		}
	}
	if len(set.Readings) != len(want) {
		t.Errorf("%d readings, want %d", len(set.Readings), len(want))
	}
}

// A row that names no meter was taken with the first meter that measures its quantity.
func TestEmptyMeterIsTheFirstThatMeasures(t *testing.T) {
	set := parse(t, head+row("meter", "")+row("meter", "", "quantity", "current", "from", "near", "to", "", "unit", "A"))
	if got := set.Readings[0].Meter; got != "hand" {
		t.Errorf("voltage: meter %q, want hand", got)
	}
	if got := set.Readings[1].Meter; got != "clamp" {
		t.Errorf("current: meter %q, want clamp", got)
	}
}

func TestFormsOfTheFile(t *testing.T) {
	lines := head + row() + row("value", "4.8")
	reordered := "value,unit,meter,from,to,time,step,quantity\n" +
		"4.812,V,hand,west.start+,west.start-,2026-03-01T19:30:00+01:00,white 5 %,voltage\n" +
		"4.8,V,hand,west.start+,west.start-,2026-03-01T19:30:00+01:00,white 5 %,voltage\n"
	for name, text := range map[string]string{
		"LF":               lines,
		"CRLF":             strings.ReplaceAll(lines, "\n", "\r\n"),
		"byte order mark":  "\ufeff" + lines,
		"no last newline":  strings.TrimSuffix(lines, "\n"),
		"quoted":           `"time","step",quantity,from,to,value,unit,meter` + "\n" + row("step", `"white 5 %"`) + row("value", `"4.8"`),
		"columns in order": reordered,
	} {
		set := parse(t, text)
		if len(set.Readings) != 2 || set.Readings[0].Value != 4.812 || set.Readings[1].Value != 4.8 || set.Readings[1].Row != 3 {
			t.Errorf("%s: %+v", name, set.Readings)
		}
	}
	if set := parse(t, head); len(set.Readings) != 0 {
		t.Errorf("a header alone: %+v", set.Readings)
	}
}

func TestBadRows(t *testing.T) {
	current := []string{"quantity", "current", "from", "near", "to", "", "unit", "A", "meter", "shunt"}
	warm := []string{"quantity", "temperature", "from", "north", "to", "", "value", "20", "unit", "degC", "meter", "hand"}
	for _, c := range []struct {
		name, row, want string // want as fault.Fault.Error says it, its beginning or a part
	}{
		{"time", row("time", "yesterday"), `r.csv:2: time: "yesterday" is not a time as in RFC 3339`},
		{"date with two digits of the year", row("time", "01.03.26 19:30"), "r.csv:2: time: "},
		{"date that is not of the calendar", row("time", "30.02.2026 19:30"), "r.csv:2: time: 30.02.2026 19:30 is not a date of the calendar"},
		{"hour 24", row("time", "2026-03-01 24:30"), "r.csv:2: time: "},
		{"time at 24 hours from UTC", row("time", "2026-03-01T19:30:00+24:00"), "r.csv:2: time: "},
		{"time at 60 minutes from UTC", row("time", "2026-03-01T19:30:00-01:60"), "r.csv:2: time: "},
		{"time before any", row("time", "1969-12-31T23:59:59Z"), "outside the years"},
		{"time after all", row("time", "2263-01-01T00:00:00Z"), "outside the years"},
		{"step", row("step", "white 5%"), `r.csv:2: step: no step is named "white 5%" (did you mean "white 5 %"?)`},
		{"quantity", row("quantity", "voltege"), `quantity: no quantity is named "voltege" (did you mean "voltage"?)`},
		{"no quantity", row("quantity", ""), "quantity: the field is empty"},
		{"point", row("from", "wets.start+"), "r.csv:2: from: no reel is named"},
		{"pixel", row("to", "west.241+"), `r.csv:2: to: reel "west" has no pixel 241 (its pixels are 1 to 240)`},
		{"no rail", row("to", "west.start"), "r.csv:2: to: "},
		{"no point", row("to", ""), "r.csv:2: to: a voltage needs a point here"},
		{"same point", row("to", "west.1+"), "r.csv:2: to: west.1+ is the same point as west.start+"},
		{"feed", row(append(current, "from", "neer")...), `r.csv:2: from: no feed is named "neer" (did you mean "near"?)`},
		{"current between", row(append(current, "to", "far")...), "r.csv:2: to: "},
		{"body", row(append(warm, "from", "block")...), "r.csv:2: from: no reel or feed is named"},
		{"temperature between", row(append(warm, "to", "west")...), "r.csv:2: to: "},
		{"absolute zero", row(append(warm, "value", "-273.16")...), "below absolute zero"},
		{"unit", row("unit", "kV"), `r.csv:2: unit: "kV" is not a unit (known: V, mV, uV)`},
		{"unit of another quantity", row("unit", "A"), "r.csv:2: unit: a voltage is not given in A"},
		{"no number", row("value", ""), "r.csv:2: value: "},
		{"hexadecimal", row("value", "0x1p4"), "r.csv:2: value: "},
		{"underscores", row("value", "1_0"), "r.csv:2: value: "},
		{"infinity", row("value", "inf"), "r.csv:2: value: "},
		{"not a number", row("value", "NaN"), "r.csv:2: value: "},
		{"exponent without digits", row("value", "1E+"), "r.csv:2: value: "},
		{"two decimal signs", row("value", `"4,8.1"`), "is not a decimal number"},
		{"spaces", row("value", " 4.812"), "take the spaces away"},
		{"long minus", row("value", "−0.3"), "plain hyphen"},
		// SCPI-1999, volume 1, as restated by makers' manuals: 9.9E37 is infinity, 9.91E37 not a number.
		{"overload", row(append(current, "value", "9.9E37", "meter", "clamp")...), "r.csv:2: value: 9.9E37 is not a measured value"},
		{"overload below", row(append(current, "value", "-9.90000000E+37", "meter", "clamp")...), "not a measured value"},
		{"SCPI's not a number", row(append(current, "value", "+9.91E+37", "meter", "clamp")...), "not a measured value"},
		{"beyond a float", row(append(current, "value", "1E999", "meter", "clamp")...), "not a measured value"},
		{"beyond the meter", row("value", "61"), `r.csv:2: value: 61 V is more than meter "hand" can show (its ranges end at 60 V)`},
		{"meter", row("meter", "hnad"), `r.csv:2: meter: no meter is named "hnad" (did you mean "hand"?)`},
		{"meter without a range", row("meter", "shunt"), `r.csv:2: meter: meter "shunt" has no voltage range`},
		{"few fields", "a,b\n", "r.csv:2: the line has 2 fields, not 8"},
		{"many fields", row("value", "4,812"), "r.csv:2: the line has 9 fields, not 8 (decimals are set off by a point"},
		{"bare quote", row("step", `white "5"`), "r.csv:2: a field that is not quoted contains a quote"},
		{"open quote", row("step", `"white`), "r.csv:2: a quoted field does not end"},
		{"bytes", row("step", "wei\xdf"), "r.csv:2: the text is not UTF-8"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := head + c.row + row()
			set, err := csv.Parse("r.csv", strings.NewReader(text), cornice)
			list, ok := errors.AsType[fault.List](err)
			if !ok || len(list) != 1 || !strings.Contains(list[0].Error(), c.want) {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
			if len(set.Readings) > 0 {
				t.Errorf("readings of a file with a bad row: %+v", set.Readings)
			}
			// Only the bad row is lost, even if its quotes are wrong.
			good, err := csv.ParseGood("r.csv", strings.NewReader(text), cornice)
			if err != nil || len(good.Readings) != 1 || good.Readings[0].Row != 3 || good.BadRows != 1 || len(good.Bad) != 1 {
				t.Errorf("good rows: %+v, %v", good, err)
			}
		})
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	text := head + row("step", "x", "from", "y", "value", "z", "unit", "w") + row() + row("meter", "q") + row("time", "")
	_, err := csv.Parse("r.csv", strings.NewReader(text), cornice)
	list, _ := errors.AsType[fault.List](err)
	var got []string
	for _, f := range list {
		got = append(got, f.Key)
	}
	// The unit is named before the number is looked at.
	if want := []string{"step", "from", "unit", "meter", "time"}; !slices.Equal(got, want) {
		t.Errorf("faults of %v, want %v\n%v", got, want, err)
	}
	set, _ := csv.ParseGood("r.csv", strings.NewReader(text), cornice)
	if set.BadRows != 3 || len(set.Readings) != 1 {
		t.Errorf("%d bad rows, %d readings", set.BadRows, len(set.Readings))
	}
}

func TestLinesAreThoseOfTheFile(t *testing.T) {
	text := "\n" + head + // 1, 2
		row("step", "\"two\nlines\"") + // 3, 4
		"\r\n" + // 5
		row("step", `"open`) + // 6
		"\n" + // 7
		row() + // 8
		row("value", "x") // 9
	set, err := csv.ParseGood("r.csv", strings.NewReader(text), cornice)
	if err != nil {
		t.Fatal(err)
	}
	var lines []int
	for _, f := range set.Bad {
		lines = append(lines, f.Line)
	}
	if !slices.Equal(lines, []int{3, 6, 9}) || len(set.Readings) != 1 || set.Readings[0].Row != 8 {
		t.Errorf("faults in lines %v, readings %+v", lines, set.Readings)
	}
}

func TestBadHeaders(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"empty file":    {"", "r.csv:1: the file is empty"},
		"blank lines":   {"\n\n", "r.csv:1: the file is empty"},
		"misspelt":      {strings.Replace(head, "quantity", "quantitiy", 1), `r.csv:1: quantitiy: there is no such column (did you mean "quantity"?)`},
		"capital":       {strings.Replace(head, "time", "Time", 1), `did you mean "time"?`},
		"missing":       {strings.Replace(head, ",meter", "", 1), "r.csv:1: meter: the column is missing"},
		"unknown":       {strings.Replace(head, "meter", "meter,remarks", 1), "r.csv:1: remarks: there is no such column"},
		"twice":         {strings.Replace(head, "meter", "meter,unit", 1), "r.csv:1: unit: the column appears twice"},
		"no header":     {row(), "r.csv:1: the first line names no column of readings (it is time,step,"},
		"spaces":        {strings.ReplaceAll(head, ",", " "), "r.csv:1: the first line names no column of readings"},
		"UTF-16":        {"\xff\xfet\x00i\x00m\x00e\x00", "r.csv:1: step: the column is missing"},
		"UTF-16, plain": {"t\x00i\x00m\x00e\x00", "r.csv:1: the text is not UTF-8"},
		"quotes":        {`"time` + "\n", "r.csv:1: a quoted field does not end"},
	} {
		for _, parse := range []func() (csv.Set, error){
			func() (csv.Set, error) { return csv.Parse("r.csv", strings.NewReader(c.text), cornice) },
			func() (csv.Set, error) { return csv.ParseGood("r.csv", strings.NewReader(c.text), cornice) },
		} {
			if _, err := parse(); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s: got %v, want %s", name, err, c.want)
			}
		}
	}
}

func TestErrorOfTheSource(t *testing.T) {
	broken := errors.New("unplugged")
	_, err := csv.Parse("r.csv", iotest.ErrReader(broken), cornice)
	if !errors.Is(err, broken) || !strings.HasPrefix(err.Error(), "r.csv: ") {
		t.Errorf("got %v", err)
	}
}

func TestRepeatsAreNoFaults(t *testing.T) {
	same := row("time", "2026-03-01T18:30:00Z") // the same moment in UTC
	set := parse(t, head+row()+row("value", "4.8120")+same+row())
	if len(set.Readings) != 2 {
		t.Errorf("%d readings, want 2: another text is another reading", len(set.Readings))
	}
	if want := []csv.Repeat{{Line: 4, Of: 2}, {Line: 5, Of: 2}}; !slices.Equal(set.Repeats, want) {
		t.Errorf("repeats %v, want %v", set.Repeats, want)
	}
	if got := set.Repeats[0].String(); got != "line 4 repeats line 2" {
		t.Error(got)
	}
}

func TestByTime(t *testing.T) {
	set := parse(t, head+row("value", "1")+row("value", "2", "time", "2026-03-01T19:29:00+02:00")+row("value", "3"))
	var texts []string
	for _, x := range reading.ByTime(set.Readings) {
		texts = append(texts, x.Text)
	}
	if !slices.Equal(texts, []string{"2", "1", "3"}) || set.Readings[0].Text != "1" {
		t.Errorf("by time %v; the file's first is %q", texts, set.Readings[0].Text)
	}
}

func TestUnits(t *testing.T) {
	// Prefixes milli and micro: SI Brochure, 9th edition, table 7 (FROM MEMORY).
	for unit, want := range map[string]float64{"V": 1.5, "mV": 1.5e-3, "uV": 1.5e-6, "µV": 1.5e-6, "μV": 1.5e-6} {
		if got, err := reading.Value(run.Voltage, "1.5", unit); err != nil || got != want {
			t.Errorf("1.5 %s = %v, %v", unit, got, err)
		}
	}
	for unit, want := range map[string]float64{"A": 1.5, "mA": 1.5e-3, "uA": 1.5e-6, "µA": 1.5e-6, "μA": 1.5e-6} {
		if got, err := reading.Value(run.Current, "1.5", unit); err != nil || got != want {
			t.Errorf("1.5 %s = %v, %v", unit, got, err)
		}
	}
	for _, unit := range []string{"degC", "°C"} {
		if got, err := reading.Value(run.Temperature, "-273.15", unit); err != nil || got != -273.15 {
			t.Errorf("-273.15 %s = %v, %v", unit, got, err)
		}
	}
}

// The forms NR1, NR2 and NR3 of IEEE 488.2, and what strconv takes beyond them.
func TestNumbers(t *testing.T) {
	for text, want := range map[string]float64{"12": 12, "+12": 12, "-0": 0, "1.19": 1.19, ".5": .5, "5.": 5,
		"+1.23456789E+01": 12.3456789, "-1.23456789E-03": -0.00123456789, "1e3": 1000, "1E-400": 0} {
		if got, err := reading.Value(run.Voltage, text, "V"); err != nil || got != want {
			t.Errorf("%s = %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "+", ".", "-.", "e3", ".e3", "1e", "1e+", "1.2.3", "--1", "1 ", "0x10", "1_0", "Inf", "nan", "１"} {
		if got, err := reading.Value(run.Voltage, text, "V"); err == nil || math.IsNaN(got) {
			t.Errorf("%q = %v, want an error", text, got)
		}
	}
}
