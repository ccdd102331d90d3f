package reading

import (
	"io"
	"unicode/utf8"
)

// sheet reads the rows of a CSV file.
type sheet struct {
	records *records
	order   []int    // the place of each column in a row
	row     []string // the fields in the order of columns
}

// newSheet reads the header row.
func newSheet(file string, src io.Reader) (*sheet, error) {
	s := &sheet{records: newRecords(src), row: make([]string, len(columns))}
	var err error
	s.order, err = header(file, s.records)
	return s, err
}

func (s *sheet) next(x *Reading, check *checker) error {
	fields, line, err := s.records.next()
	x.Row = line
	broken, ofRow := quoteFault(err)
	switch {
	case ofRow:
		check.complain(line, "", broken)
	case err != nil:
		return err
	case len(fields) != len(columns):
		check.complain(line, "", fieldCount(fields))
	case !valid(fields):
		check.complain(line, "", notUTF8)
	default:
		for column, at := range s.order {
			s.row[column] = fields[at]
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
