package reading

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
)

// records splits a file into its CSV records. Unlike csv.Reader it goes on
// behind a record that breaks the rules: at the line after the one where that
// record began, so that a quote which is never closed costs one line and not
// the rest of the file.
type records struct {
	data  []byte
	begin int // where the reader began in data
	lines int // how many lines lie before begin
	csv   *csv.Reader
}

func newRecords(data []byte) *records {
	s := &records{data: data}
	s.restart(0)
	return s
}

func (s *records) restart(at int) {
	s.lines += bytes.Count(s.data[s.begin:at], []byte{'\n'})
	s.begin = at
	s.csv = csv.NewReader(bytes.NewReader(s.data[at:]))
	s.csv.FieldsPerRecord = -1
	s.csv.ReuseRecord = true
}

// next gives the fields of the next record and the line where it begins; at the
// end of the file the error is io.EOF. Any other error concerns this record
// alone. The fields are good until the next call.
func (s *records) next() (fields []string, line int, err error) {
	at := s.begin + int(s.csv.InputOffset())
	fields, err = s.csv.Read()
	if broken, ok := errors.AsType[*csv.ParseError](err); ok {
		line = s.lines + broken.StartLine
		s.restart(s.lineAfter(at))
		return nil, line, broken.Err
	}
	if err != nil {
		return nil, 0, io.EOF // data in memory has no other errors
	}
	line, _ = s.csv.FieldPos(0)
	return fields, s.lines + line, nil
}

// lineAfter gives the place behind the first line from at on that is not empty.
func (s *records) lineAfter(at int) int {
	for at < len(s.data) {
		line, _, _ := bytes.Cut(s.data[at:], []byte{'\n'})
		at = min(at+len(line)+1, len(s.data))
		if len(bytes.TrimSuffix(line, []byte{'\r'})) > 0 {
			break
		}
	}
	return at
}
