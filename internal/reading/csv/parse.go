// Package csv reads and writes files of readings.
//
// A file is RFC 4180 CSV in UTF-8 with a header row of eight columns: time, step, quantity,
// from, to, value, unit, meter. Files saved by a spreadsheet are read too: the first 256 KB
// show the separator, the decimal sign, the order of day and month, and the possible units of
// numbers without one. A cell that can still be read in two ways is refused. A value must lie
// within a range of its meter: for a meter up to 60 V, 4,812 V is not 4812 V.
//
// Names of points, feeds, steps and meters are checked against the run. OpenMetrics text is
// recognised by its first character and checked in the same way.
package csv

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// The columns of a file of readings, in the order in which Write sets them.
const (
	timeColumn = iota
	stepColumn
	quantityColumn
	fromColumn
	toColumn
	valueColumn
	unitColumn
	meterColumn
)

var columns = []string{"time", "step", "quantity", "from", "to", "value", "unit", "meter"}

// optional are the columns that may be missing: their contents are taken from elsewhere
// where they are certain.
var optional = []string{"time", "unit"}

// Parse reads a file of readings and checks every row against the run. Columns and rows may
// be in any order. A row without a meter was taken with the first meter of the run that
// measures its quantity.
//
// If anything is wrong, the set is empty and the error is a fault.List of all faults, with
// file, line and column. An error of src is returned with the file's name.
func Parse(file string, src io.Reader, r *run.Run) (Set, error) {
	set, err := ParseGood(file, src, r)
	if err == nil {
		err = set.Bad.Err()
	}
	if err != nil {
		return Set{}, err
	}
	return set, nil
}

// ParseGood is like Parse but accepts a file with bad rows and lists their faults in Bad. It
// returns an error only if the header row is wrong or the file cannot be read.
func ParseGood(file string, src io.Reader, r *run.Run) (Set, error) {
	rows, err := Scan(file, src, r)
	if err != nil {
		return Set{}, err
	}
	var set Set
	seen := map[identity]int{}
	for x, err := range rows.Good() {
		if err != nil {
			return Set{}, err
		}
		if of, again := seen[identityOf(&x)]; again {
			rows.Repeats = append(rows.Repeats, Repeat{x.Row, of})
			continue
		}
		seen[identityOf(&x)] = x.Row
		if !x.Quality.Measured() {
			set.Unmeasured = append(set.Unmeasured, x)
			continue
		}
		set.Readings = append(set.Readings, x)
	}
	set.Bad, set.BadRows, set.Repeats, set.Notes = rows.Bad, rows.BadRows, rows.Repeats, rows.Notes()
	return set, nil
}

// header reads the header row and returns the index of each column in a row.
func header(file string, rows *records) (width int, order []int, err error) {
	var faults fault.List
	fields, line, err := rows.next()
	if err == nil && strings.HasPrefix(fields[0], "sep=") { // by which a spreadsheet names the separator
		fields, line, err = rows.next()
	}
	whole := strings.Join(columns, ",")
	refuse := func(f fault.Fault) {
		f.File, f.Line = file, max(line, 1)
		faults.Add(f)
	}
	switch {
	case err == io.EOF:
		refuse(fault.Fault{Text: "the file is empty", Hint: "its first line is " + whole})
		return 0, nil, faults.Err()
	case err != nil:
		if f, ok := quoteFault(err); ok {
			refuse(f)
			return 0, nil, faults.Err()
		}
		return 0, nil, fmt.Errorf("%s: %w", file, err)
	case !valid(fields) || strings.Contains(fields[0], "\x00"):
		refuse(notUTF8)
		return 0, nil, faults.Err()
	}
	if !slices.ContainsFunc(fields, func(name string) bool { _, near := fault.Nearest(name, columns); return near }) {
		refuse(fault.Fault{Text: "the first line names no column of readings", Hint: "it is " + whole})
		return 0, nil, faults.Err()
	}
	var missing []string
	for _, name := range columns {
		order = append(order, slices.Index(fields, name))
		if !slices.Contains(fields, name) {
			missing = append(missing, name)
		}
	}
	for i, name := range fields {
		switch near, ok := fault.Nearest(name, missing); {
		case slices.Contains(fields[:i], name):
			refuse(fault.Fault{Key: name, Text: "the column appears twice"})
		case slices.Contains(columns, name):
		case ok:
			refuse(fault.Fault{Key: name, Text: "there is no such column", Hint: fmt.Sprintf("did you mean %q?", near)})
			missing = slices.DeleteFunc(missing, func(m string) bool { return m == near })
		default:
			refuse(fault.Fault{Key: name, Text: "there is no such column", Hint: "the columns are " + whole})
		}
	}
	for _, name := range missing {
		if slices.Contains(optional, name) {
			continue
		}
		refuse(fault.Fault{Key: name, Text: "the column is missing", Hint: "the first line is " + whole})
	}
	return len(fields), order, faults.Err()
}

var notUTF8 = fault.Fault{Text: "the text is not UTF-8", Hint: "save the file as CSV in UTF-8"}

// quoteFault returns what is wrong with the quotes of a record; ok is false for any other error.
func quoteFault(err error) (fault.Fault, bool) {
	broken, ok := errors.AsType[*csv.ParseError](err)
	if !ok {
		return fault.Fault{}, false
	}
	f := fault.Fault{Text: "a quoted field does not end with its quote", Hint: `a quote within a field is doubled and the field set in quotes: "a ""b"" c"`}
	if errors.Is(broken.Err, csv.ErrBareQuote) {
		f.Text = "a field that is not quoted contains a quote"
	}
	return f, true
}

// fieldCount returns the fault of a row with too many or too few fields.
func fieldCount(fields []string, width int) fault.Fault {
	f := fault.Fault{Text: fmt.Sprintf("the line has %d fields, not %d", len(fields), width)}
	if len(fields) > width {
		f.Hint = "decimals are set off by a point; a field with a comma in it is quoted"
	} else {
		f.Hint = "fields that are empty keep their commas"
	}
	return f
}
