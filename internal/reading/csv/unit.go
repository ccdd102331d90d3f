package csv

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// unitsOf returns the units that all numbers without one can be in, by quantity and meter.
func (d *dialect) unitsOf(rows []sampleRow, r *run.Run) map[scale][]string {
	units := map[scale][]string{}
	for _, x := range rows {
		q, meter := x.quantityAndMeter(r)
		if x.unit != "" || meter < 0 {
			continue
		}
		text, ambiguous := d.number(x.value, func(string) bool { return true })
		if ambiguous != nil || !reading.IsDecimal(text) {
			continue
		}
		of := scale{q, meter}
		if _, known := units[of]; !known {
			units[of] = reading.Units(q)
		}
		units[of] = fitting(units[of], r.Meters[meter], q, text)
	}
	return units
}

// fitting returns those of some units in which a meter shows a number: the range that
// holds the value counts in steps of its resolution, and no digit is finer.
func fitting(units []string, m run.Meter, q run.Quantity, text string) (left []string) {
	if q == run.Temperature {
		return units
	}
	number, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return nil
	}
	for _, name := range units {
		per, _ := reading.PerSI(q, name)
		at := m.Range(q, number/per)
		if at < 0 {
			continue
		}
		counts := number / per / m.Ranges[at].Resolution
		if math.Abs(counts-math.Round(counts)) <= 1e-6*max(math.Abs(counts), 1) {
			left = append(left, name)
		}
	}
	return left
}

// unit returns the unit of a number that has none in the file, where only one is possible.
func (d *dialect) unit(text string, q run.Quantity, meter int, r *run.Run) (string, *fault.Fault) {
	if meter < 0 {
		return "", &fault.Fault{Text: "the unit is missing", Hint: "known: " + strings.Join(reading.Units(q), ", ")}
	}
	m := r.Meters[meter]
	units := fitting(reading.Units(q), m, q, text)
	if others, known := d.units[scale{q, meter}]; known {
		units = slices.DeleteFunc(slices.Clone(units), func(u string) bool { return !slices.Contains(others, u) })
	}
	switch len(units) {
	case 0:
		return "", &fault.Fault{Text: fmt.Sprintf("the unit is missing, and %s fits no range of meter %q", text, m.Name), Hint: "known: " + strings.Join(reading.Units(q), ", ")}
	case 1:
		d.notes.add(fmt.Sprintf("a %s by meter %q without a unit in %s, which alone fits its ranges", q, m.Name, units[0]))
		return units[0], nil
	}
	return "", &fault.Fault{Text: fmt.Sprintf("the unit is missing: %s can be in %s", text, strings.Join(units, " or ")), Hint: "fill in the column unit"}
}
