package csv

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// thousands are numbers whose commas, or points, can stand between thousands: 1,234 and
// 12,345,678, but not 0,123 and 1,23. A fraction follows with the other sign.
var thousands = map[byte]*regexp.Regexp{
	',': regexp.MustCompile(`^[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d+)?$`),
	'.': regexp.MustCompile(`^[+-]?[1-9]\d{0,2}(\.\d{3})+(,\d+)?$`),
}

// number is a cell of the column value in the forms in which it can be read, each with a
// decimal point; "" where it cannot.
type number struct {
	comma, point string // its decimal sign is a comma, a point
}

func numberOf(text string) (n number) {
	bare := strings.ReplaceAll(text, ",", ".")
	switch commas, points := strings.Count(text, ","), strings.Count(text, "."); {
	case points == 0 && commas == 1 && reading.IsDecimal(bare):
		n.comma = bare
	case commas == 0 && reading.IsDecimal(text):
		n.point = text
	}
	if thousands[','].MatchString(text) {
		n.point = strings.ReplaceAll(text, ",", "")
	}
	if thousands['.'].MatchString(text) {
		n.comma = strings.ReplaceAll(strings.ReplaceAll(text, ".", ""), ",", ".")
	}
	return n
}

// sign returns the decimal sign with which alone a number can be read; 0 where both or
// neither can be. shown reports whether the meter can show a number.
func (n number) sign(shown func(number string) bool) byte {
	comma, point := n.comma != "", n.point != ""
	if comma && point {
		comma, point = shown(n.comma), shown(n.point)
	}
	switch {
	case comma && !point:
		return ','
	case point && !comma:
		return '.'
	}
	return 0
}

// decimalOf returns the decimal sign of a file: the one that some numbers need and none
// contradicts; 0 if that is unknown. Whole numbers need neither.
func decimalOf(rows []sampleRow, r *run.Run) byte {
	var found [256]bool
	for _, x := range rows {
		if !strings.ContainsAny(x.value, ".,") {
			continue
		}
		q, meter := x.quantityAndMeter(r)
		found[numberOf(x.value).sign(func(number string) bool { return shows(r, q, meter, number, x.unit) })] = true
	}
	switch {
	case found[','] && !found['.']:
		return ','
	case found['.'] && !found[',']:
		return '.'
	}
	return 0
}

// shows reports whether a meter can show a number in a unit; it is true where one of them
// is not known.
func shows(r *run.Run, q run.Quantity, meter int, number, unit string) bool {
	per, known := reading.PerSI(q, unit)
	value, err := strconv.ParseFloat(number, 64)
	return meter < 0 || !known || err != nil || r.Meters[meter].Shows(q, value/per)
}

// number returns a cell as a decimal number with a point, or the reason why it can be read in two
// ways. A text that is not a number is returned unchanged.
func (d *dialect) number(text string, shown func(number string) bool) (string, *fault.Fault) {
	if d.decimal != ',' && reading.IsDecimal(text) {
		return text, nil // as this program writes it
	}
	n := numberOf(text)
	sign := n.sign(func(string) bool { return true })
	if sign == 0 && d.decimal != 0 && strings.IndexByte(text, d.decimal) >= 0 {
		sign = d.decimal
	}
	if sign == 0 {
		sign = n.sign(shown)
	}
	switch {
	case n.comma == "" && n.point == "":
		return text, nil
	case sign == ',' && n.comma != "":
		d.notes.add("decimal commas")
		return n.comma, nil
	case sign == '.' && n.point != "":
		if strings.Contains(text, ",") {
			d.notes.add("commas between thousands")
		}
		return n.point, nil
	}
	return "", &fault.Fault{Text: fmt.Sprintf("%q can be %s and %s", text, n.comma, n.point), Hint: "decimals are set off by a point"}
}
