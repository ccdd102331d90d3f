package csv_test

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/run"
)

// cornice is an invented run: two reels in a row, fed at the near end.
var cornice = &run.Run{
	Name:      "Map room cornice", // invented
	Supplies:  []run.Supply{{Name: "A", Volts: 5.1}},
	Junctions: []run.Junction{{Name: "block"}},
	Reels:     []run.Reel{{Name: "west", Pixels: 240, Follows: -1}, {Name: "north", Pixels: 300, Follows: 0}},
	Feeds:     []run.Feed{{Name: "near"}, {Name: "far"}},
	Steps:     []run.Step{{Name: "dark"}, {Name: "white 5 %"}, {Name: `"all", on`}},
	Meters: []run.Meter{
		{Name: "hand", Ranges: []run.Range{
			{Quantity: run.Voltage, UpTo: 6}, {Quantity: run.Voltage, UpTo: 60}, {Quantity: run.Temperature, UpTo: 400}}},
		{Name: "clamp", Ranges: []run.Range{{Quantity: run.Current, UpTo: math.Inf(1)}, {Quantity: run.Voltage, UpTo: 600}}},
		{Name: "shunt", Ranges: []run.Range{{Quantity: run.Current, UpTo: 10}}},
	},
}

const head = "time,step,quantity,from,to,value,unit,meter\n"

// row is a good row with some of its columns replaced: row("value", "x").
func row(replace ...string) string {
	names := strings.Split(strings.TrimSpace(head), ",")
	fields := []string{"2026-03-01T19:30:00+01:00", "white 5 %", "voltage", "west.start+", "west.start-", "4.812", "V", "hand"}
	for i := 0; i < len(replace); i += 2 {
		for j, name := range names {
			if name == replace[i] {
				fields[j] = replace[i+1]
			}
		}
	}
	return strings.Join(fields, ",") + "\n"
}

// many is a file of n different rows, as a scan of voltages and a current.
func many(n int) string {
	var b strings.Builder
	b.WriteString(head)
	for i := range n {
		at := fmt.Sprintf("2026-03-01T%02d:%02d:%02d+01:00", i/3600%24, i/60%60, i%60)
		if i%5 == 0 {
			fmt.Fprintf(&b, "%s,dark,current,near,,%d,mA,shunt\n", at, i%9000)
		} else {
			fmt.Fprintf(&b, "%s,dark,voltage,west.%d+,west.%d-,4.%06d,V,hand\n", at, i%240+1, i%240+1, i)
		}
	}
	return b.String()
}
