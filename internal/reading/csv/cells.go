package csv

import (
	"io"
	"unicode/utf8"

	"ohmkeep/internal/reading"
)

// sheet reads the rows of a CSV file.
type sheet struct {
	records *records
	width   int      // fields of the header row
	order   []int    // the place of each column in a row; -1 = it has no such column
	row     []string // the fields in the order of columns
}

// newSheet reads the header row of a file with a separator between its columns.
func newSheet(file string, src io.Reader, separator rune) (*sheet, error) {
	s := &sheet{records: newRecords(src, separator), row: make([]string, len(columns))}
	var err error
	s.width, s.order, err = header(file, s.records)
	return s, err
}

func (s *sheet) next(x *reading.Reading, check *checker) error {
	fields, line, err := s.records.next()
	x.Row = line
	broken, ofRow := quoteFault(err)
	switch {
	case ofRow:
		check.Complain(line, "", broken)
	case err != nil:
		return err
	case len(fields) != s.width:
		check.Complain(line, "", fieldCount(fields, s.width))
	case !valid(fields):
		check.Complain(line, "", notUTF8)
	default:
		for column, at := range s.order {
			if at >= 0 {
				s.row[column] = fields[at]
			}
		}
		check.fill(x, s.row)
	}
	return nil
}

func valid(fields []string) bool {
	for _, f := range fields {
		if !utf8.ValidString(f) {
			return false
		}
	}
	return true
}
