package csv_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/reading/openmetrics"
	"ohmkeep/internal/run"
)

// exposed writes the readings of one place after the other as OpenMetrics text.
func exposed(t testing.TB, places ...[]reading.Reading) string {
	t.Helper()
	var b bytes.Buffer
	e := openmetrics.NewReadingsWriter(&b, cornice.Name)
	for _, readings := range places {
		if err := e.Write(func(yield func(reading.Reading, error) bool) {
			for _, x := range readings {
				if !yield(x, nil) {
					return
				}
			}
		}); err != nil {
			t.Fatal(err)
		}
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What is written as OpenMetrics and read again is the same reading: its digits, its
// unit and exponent as written, its moment and its offset from UTC. No two samples of a
// metric have the same moment.
func TestExpositionRoundTrip(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	pick := func(of ...string) string { return of[random.IntN(len(of))] }
	for range 200 {
		unit := pick("V", "mV", "uV", "µV", "μV")
		step := pick("", "white 5 %", "dark")
		var rows strings.Builder
		rows.WriteString(head)
		at := time.Date(2026, 3, 28, 1, 0, 0, 0, time.UTC)
		for range 1 + random.IntN(40) {
			if random.IntN(4) > 0 {
				at = at.Add(time.Duration(1+random.IntN(3)) * time.Second / time.Duration(1+random.IntN(3)))
			}
			zone := time.UTC
			if random.IntN(5) == 0 {
				zone = time.FixedZone("", 3600*(1+random.IntN(2))-1800*random.IntN(2))
			}
			rows.WriteString(row("time", at.In(zone).Format(time.RFC3339Nano), "step", step, "unit", unit,
				"value", pick("4", "+4.812", "-0", ".5", "5.", "004.80", "1e1", "-1.5E+00", "+4.8120E-02", "2E-0", "3e+1")))
		}
		set := parse(t, rows.String())
		text := exposed(t, set.Readings)
		again, err := csv.Parse("r.om", strings.NewReader(text), cornice)
		if err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
		line := func(x reading.Reading) string {
			return fmt.Sprint(x.Time.Format(time.RFC3339Nano), x.Step, x.Quantity, x.From, x.To, x.Text, x.Unit, x.Value, x.Meter)
		}
		sorted := func(readings []reading.Reading) (lines []string) {
			for _, x := range readings {
				lines = append(lines, line(x))
			}
			slices.Sort(lines)
			return lines
		}
		if !slices.Equal(sorted(set.Readings), sorted(again.Readings)) {
			t.Fatalf("written\n%s\nread again\n%v\nwant\n%v", text, sorted(again.Readings), sorted(set.Readings))
		}
		newest := map[string]string{}
		var before string
		for l := range strings.Lines(text) {
			if l[0] == '#' {
				continue
			}
			labels, rest, _ := strings.Cut(l, "} ")
			seconds := strings.Fields(rest)[1]
			if last, there := newest[labels]; there && (labels != before || last == seconds) {
				t.Fatalf("%s comes in two places, or twice at %s, in\n%s", labels, seconds, text)
			}
			newest[labels], before = seconds, labels
		}
	}
}

// Base units: SI Brochure, 9th edition, table 7 (FROM MEMORY); the names of metrics and
// units as OpenMetrics wants them.
func TestExpositionOfEachQuantity(t *testing.T) {
	set := parse(t, head+row("value", "4812", "unit", "mV", "time", "2026-03-01T19:30:00.25+01:00")+
		row("quantity", "current", "from", "near", "to", "", "value", "+2.31E+02", "unit", "mA", "step", "", "meter", "shunt")+
		row("quantity", "temperature", "from", "west", "to", "", "value", "21.5", "unit", "°C", "time", "2026-03-01T18:30:00Z"))
	got := exposed(t, set.Readings[:1], set.Readings[1:2], set.Readings[2:])
	name := cornice.Name
	want := `# TYPE ohmkeep_voltage_volts gauge
# UNIT ohmkeep_voltage_volts volts
# HELP ohmkeep_voltage_volts Voltage between two points.
ohmkeep_voltage_volts{run="` + name + `",from="west.start+",to="west.start-",step="white 5 %",meter="hand",unit="mV",offset="+01:00"} 4812e-3 1772389800.25
# TYPE ohmkeep_current_amperes gauge
# UNIT ohmkeep_current_amperes amperes
# HELP ohmkeep_current_amperes Current through a feed, towards the strip.
ohmkeep_current_amperes{run="` + name + `",feed="near",meter="shunt",unit="mA",exponent="E+02",offset="+01:00"} +2.31e-1 1772389800
# TYPE ohmkeep_temperature_celsius gauge
# UNIT ohmkeep_temperature_celsius celsius
# HELP ohmkeep_temperature_celsius Temperature of a reel or feed.
ohmkeep_temperature_celsius{run="` + name + `",at="west",step="white 5 %",meter="hand",unit="°C"} 21.5 1772389800
# EOF
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	pulled := errors.New("the card was pulled")
	if err := openmetrics.NewReadingsWriter(new(bytes.Buffer), name).Write(func(yield func(reading.Reading, error) bool) { yield(reading.Reading{}, pulled) }); err != pulled {
		t.Errorf("%v", err)
	}
}

func TestExpositionFaults(t *testing.T) {
	good := `ohmkeep_voltage_volts{run="` + cornice.Name + `",from="west.start+",to="west.start-"} 4.8 1772389800` + "\n"
	for name, c := range map[string]struct {
		old, new string
		want     string
	}{
		"metric":      {"ohmkeep_voltage_volts", "ohmkeep_probe_up", "r.om:2: ohmkeep_probe_up is not a reading"},
		"label":       {`,to=`, `,too=`, "r.om:2: too: a reading has no such label"},
		"run":         {cornice.Name, "Hall", `r.om:2: run: this is a reading of run "Hall"`},
		"point":       {"west.start+", "wets.start+", "r.om:2: from: "},
		"step":        {`{`, `{step="drak",`, `r.om:2: step: no step is named "drak"`},
		"meter":       {`{`, `{meter="foot",`, `r.om:2: meter: no meter is named "foot"`},
		"unit":        {`{`, `{unit="A",`, "r.om:2: unit: a voltage is not given in A"},
		"prefix":      {`{`, `{unit="mV",`, "r.om:2: value: 4.8 is not a number of mV written in volts"},
		"exponent":    {`{`, `{unit="mV",exponent="E+x",`, "r.om:2: value: "},
		"no exponent": {`{`, `{exponent="E+1",`, "r.om:2: value: "},
		"offset":      {`{`, `{offset="1 h",`, `r.om:2: offset: "1 h" is not an offset from UTC`},
		"time":        {" 1772389800", "", "r.om:2: the sample has no time"},
		"early":       {" 1772389800", " -5", "r.om:2: time: 1969-12-31T23:59:55Z lies outside"},
		"overload":    {"4.8", "9.9e37", "r.om:2: value: 9.9e37 is not a measured value"},
		"place":       {`from="west.start+",`, "", "r.om:2: from: a voltage needs a point here"},
	} {
		text := "# a comment\n" + strings.Replace(good, c.old, c.new, 1) + good + "# EOF\n"
		_, err := csv.Parse("r.om", strings.NewReader(text), cornice)
		if err == nil || !strings.HasPrefix(err.Error(), c.want) || strings.Contains(err.Error(), "r.om:3:") {
			t.Errorf("%s: got %v, want %s", name, err, c.want)
		}
		set, err := csv.ParseGood("r.om", strings.NewReader(text), cornice)
		if err != nil || len(set.Readings) != 1 || set.BadRows != 1 || set.Readings[0].Row != 3 {
			t.Errorf("%s: %+v, %v", name, set, err)
		}
	}
	_, err := csv.Parse("r.om", strings.NewReader("# cut off\n"+good), cornice)
	if err == nil || !strings.Contains(err.Error(), "r.om:2: the text does not end with # EOF") {
		t.Errorf("cut off: %v", err)
	}
	if set, err := csv.Parse("r.om", strings.NewReader("#\n"+good+good+"# EOF\n"), cornice); err != nil || len(set.Repeats) != 1 || set.Readings[0].Quantity != run.Voltage {
		t.Errorf("repeated: %+v, %v", set, err)
	}
}
