package csv

import (
	"bytes"
	"encoding/csv"
	"io/fs"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/run"
)

// sampleSize is how many bytes at the beginning of a file show how all of it is written.
const sampleSize = 1 << 18

// dialect is how a spreadsheet wrote a file of readings, as far as its first sampleSize
// bytes show. What they leave open, such as the month of 03/04/2026, stays refused.
type dialect struct {
	separator rune      // between columns
	decimal   byte      // ',' or '.', as numbers show that can be read in one way only; 0 = not known
	dates     dayOrder  // of day and month in dates with slashes or hyphens
	undated   bool      // no row has a time
	date      time.Time // of rows without a time: when the file was last written
	zone      *time.Location
	units     map[scale][]string // what numbers without a unit can be in
	notes     notes
}

// scale is the quantity and meter for which numbers without a unit share one.
type scale struct {
	quantity run.Quantity
	meter    int // into Run.Meters
}

// contractForm is the dialect of files that this program wrote.
func contractForm() *dialect { return &dialect{separator: ',', zone: time.Local} }

// newDialect returns the dialect of a file from its first bytes. src is the source of the bytes; a
// file provides the time when it was last written.
func newDialect(sample []byte, src any, r *run.Run) *dialect {
	d := contractForm()
	d.separator = separatorOf(sample)
	d.date = time.Now()
	if file, ok := src.(interface{ Stat() (fs.FileInfo, error) }); ok {
		if info, err := file.Stat(); err == nil {
			d.date = info.ModTime()
		}
	}
	d.date = d.date.Truncate(time.Second)
	if d.separator != ',' {
		d.notes.add(map[rune]string{';': "semicolons between the columns", '\t': "tabs between the columns"}[d.separator])
	}
	rows := sampleRows(sample, d.separator)
	d.undated = len(rows) > 0 && !slices.ContainsFunc(rows, func(x sampleRow) bool { return x.time != "" })
	d.decimal = decimalOf(rows, r)
	for _, x := range rows {
		d.dates = d.dates.intersect(orderOf(x.time))
	}
	d.units = d.unitsOf(rows, r)
	return d
}

// separatorOf returns the separator between columns: of comma, semicolon and tab the one with which
// the header row has most known columns.
func separatorOf(sample []byte) rune {
	best, most := ',', 0
	for line := range bytes.Lines(sample) {
		line = bytes.TrimSpace(line)
		if len(line) == 0 || bytes.HasPrefix(line, []byte("sep=")) {
			continue
		}
		for _, separator := range ",;\t" {
			n := 0
			for field := range strings.SplitSeq(string(line), string(separator)) {
				if slices.Contains(columns, strings.Trim(field, `"`)) {
					n++
				}
			}
			if n > most {
				best, most = separator, n
			}
		}
		break
	}
	return best
}

// sampleRow holds the cells of a row that show the dialect.
type sampleRow struct{ time, quantity, value, unit, meter string }

// sampleRows reads the rows of a sample that can be read; its last may be cut off.
func sampleRows(sample []byte, separator rune) (rows []sampleRow) {
	in := csv.NewReader(bytes.NewReader(sample[:bytes.LastIndexByte(sample, '\n')+1]))
	if len(sample) < sampleSize {
		in = csv.NewReader(bytes.NewReader(sample))
	}
	in.Comma, in.FieldsPerRecord, in.ReuseRecord = separator, -1, true
	var at map[string]int
	for {
		fields, err := in.Read()
		switch {
		case err != nil:
			return rows // a broken quote ends the sample
		case at == nil && strings.HasPrefix(fields[0], "sep="):
			continue
		case at == nil:
			at = map[string]int{}
			for i, name := range fields {
				at[name] = i + 1
			}
			continue
		}
		field := func(name string) string {
			if i := at[name]; 0 < i && i <= len(fields) {
				return strings.Clone(fields[i-1])
			}
			return ""
		}
		rows = append(rows, sampleRow{field("time"), field("quantity"), field("value"), field("unit"), field("meter")})
	}
}

// quantityAndMeter returns the quantity of a row and its meter, -1 where the run has none such.
func (x sampleRow) quantityAndMeter(r *run.Run) (q run.Quantity, meter int) {
	i := slices.Index(run.QuantityNames, x.quantity)
	if i < 0 {
		return 0, -1
	}
	return run.Quantity(i), meterOf(r, x.meter, run.Quantity(i))
}

// notes are the choices made while reading a file, each once.
type notes []string

func (n *notes) add(text string) {
	if text != "" && !slices.Contains(*n, text) {
		*n = append(*n, text)
	}
}
