package reading

import (
	"bufio"
	"fmt"
	"io"
	"iter"
	"unicode/utf8"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// Rows is a file of readings that is read row after row, so that it may be larger than
// memory. Parse says what a file is like.
type Rows struct {
	Bad     fault.List // what is wrong with the rows so far
	BadRows int        // how many rows that are
	Repeats []Repeat   // rows left out because one just before says exactly the same

	file    string
	records *records
	order   []int // the place of each column in a row
	check   *checker
	moment  []Reading // rows of the newest moment
}

// together is how many rows of one moment a repeated row is looked for among.
const together = 64

// Scan reads the header row and prepares the others.
func Scan(file string, src io.Reader, r *run.Run) (*Rows, error) {
	text := bufio.NewReaderSize(src, 1<<16)
	if mark, _ := text.Peek(3); string(mark) == "\ufeff" {
		_, _ = text.Discard(3)
	}
	rows := &Rows{file: file, records: newRecords(text), check: newChecker(file, r)}
	var err error
	rows.order, err = header(file, rows.records)
	return rows, err
}

// Good gives the rows that are right, in the order of the file; what is wrong with the
// others is in Bad. An error is the file's and ends it.
func (s *Rows) Good() iter.Seq2[Reading, error] {
	return func(yield func(Reading, error) bool) {
		row := make([]string, len(columns)) // the fields in the order of columns
		for {
			fields, line, err := s.records.next()
			if err == io.EOF {
				return
			}
			before := len(s.Bad)
			x := Reading{Row: line}
			broken, ofRow := quoteFault(err)
			switch {
			case err != nil && !ofRow:
				yield(Reading{}, fmt.Errorf("%s: %w", s.file, err))
				return
			case err != nil:
				s.check.complain(line, "", broken)
			case len(fields) != len(columns):
				s.check.complain(line, "", fieldCount(fields))
			case !valid(fields):
				s.check.complain(line, "", notUTF8)
			default:
				for column, at := range s.order {
					row[column] = fields[at]
				}
				s.check.fill(&x, row)
			}
			if s.Bad = s.check.faults; len(s.Bad) > before {
				s.BadRows++
				continue
			}
			if !s.repeats(&x) && !yield(x, nil) {
				return
			}
		}
	}
}

// repeats tells whether a row stood there just before, and notes that: in a file in the
// order of time rows that are the same stand together.
func (s *Rows) repeats(x *Reading) bool {
	if n := len(s.moment); n > 0 && (n == together || !s.moment[0].Time.Equal(x.Time)) {
		s.moment = s.moment[:0]
	}
	for i := range s.moment {
		if y := &s.moment[i]; y.Text == x.Text && y.identity() == x.identity() {
			s.Repeats = append(s.Repeats, Repeat{x.Row, y.Row})
			return true
		}
	}
	s.moment = append(s.moment, *x)
	return false
}

func valid(fields []string) bool {
	for _, f := range fields {
		if !utf8.ValidString(f) {
			return false
		}
	}
	return true
}
