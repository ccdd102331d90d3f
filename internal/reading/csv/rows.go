package csv

import (
	"fmt"
	"io"
	"iter"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/openmetrics"
	"ohmkeep/internal/run"
)

// Rows is a file of readings that is read row by row, so that it may be larger than memory.
// The format is that of Parse; a file that begins with a number sign is OpenMetrics text.
type Rows struct {
	Bad     fault.List // the faults of the rows so far
	BadRows int        // how many rows that are
	Repeats []Repeat   // rows left out because one just before is the same

	file   string
	next   func(x *reading.Reading) error // reads the next row or adds its faults; io.EOF at the end
	check  *checker
	moment []reading.Reading // rows of the newest moment
}

// repeatWindow is the number of preceding rows of the same moment among which a repeated row is
// searched.
const repeatWindow = 64

// Scan reads the header row and prepares the others.
func Scan(file string, src io.Reader, r *run.Run) (*Rows, error) {
	text, encodings := decoded(src)
	rows := &Rows{file: file, check: newChecker(file, r)}
	if first, _ := text.Peek(1); string(first) == "#" {
		samples := openmetrics.NewReadingsReader(text)
		rows.next = func(x *reading.Reading) error { return samples.Next(x, rows.check) }
		return rows, nil
	}
	sample, _ := text.Peek(sampleSize) // an error comes again when it is read
	d := newDialect(sample, src, r)
	for _, note := range encodings {
		d.notes.add(note)
	}
	rows.check.dialect = d
	cells, err := newSheet(file, text, d.separator)
	rows.next = func(x *reading.Reading) error { return cells.next(x, rows.check) }
	return rows, err
}

// Notes returns how the file was read so far where its format leaves a choice.
func (s *Rows) Notes() []string { return s.check.dialect.notes }

// Good returns the valid rows in the order of the file and adds the faults of the others to Bad. An
// error is that of the file and ends the sequence.
func (s *Rows) Good() iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		for {
			var x reading.Reading
			before := len(s.Bad)
			err := s.next(&x)
			if err == io.EOF {
				return
			}
			if err != nil {
				yield(reading.Reading{}, fmt.Errorf("%s: %w", s.file, err))
				return
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

// repeats reports whether a row stood there just before, and notes that: in a file in the
// order of time rows that are the same stand together.
func (s *Rows) repeats(x *reading.Reading) bool {
	if n := len(s.moment); n > 0 && (n == repeatWindow || !s.moment[0].Time.Equal(x.Time)) {
		s.moment = s.moment[:0]
	}
	for i := range s.moment {
		if y := &s.moment[i]; y.Text == x.Text && identityOf(y) == identityOf(x) {
			s.Repeats = append(s.Repeats, Repeat{x.Row, y.Row})
			return true
		}
	}
	s.moment = append(s.moment, *x)
	return false
}
