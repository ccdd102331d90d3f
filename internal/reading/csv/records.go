package csv

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
)

// records splits a file into CSV records, holding only the present record in memory. Unlike
// csv.Reader it continues after an invalid record, at the line after the one where that record
// began, so that a missing closing quote costs one line and not the rest of the file.
type records struct {
	src   *window
	begin int64 // where csv began in src
	lines int   // how many lines lie before that
	csv   *csv.Reader
	comma rune // between the fields
}

func newRecords(src io.Reader, comma rune) *records {
	s := &records{src: &window{src: src}, comma: comma}
	s.restart(0)
	return s
}

// restart reads on from a place of the file.
func (s *records) restart(at int64) {
	s.src.keepFrom(at)
	s.begin, s.lines = at, s.src.lines
	s.src.next = at
	s.csv = csv.NewReader(s.src)
	s.csv.Comma = s.comma
	s.csv.FieldsPerRecord = -1
	s.csv.ReuseRecord = true
}

// next returns the fields of the next record and the line where it begins; at the
// end of the file the error is io.EOF. A csv.ParseError concerns this record
// alone, any other error is the file's. The fields are good until the next call.
func (s *records) next() (fields []string, line int, err error) {
	at := s.begin + s.csv.InputOffset()
	s.src.keepFrom(at)
	fields, err = s.csv.Read()
	if broken, ok := errors.AsType[*csv.ParseError](err); ok {
		line = s.lines + broken.StartLine
		s.restart(s.src.lineAfter(at))
		return nil, line, broken
	}
	if err != nil {
		return nil, 0, err
	}
	line, _ = s.csv.FieldPos(0)
	return fields, s.lines + line, nil
}

// window is a file that can be read again from a place that moves on.
type window struct {
	src   io.Reader
	held  []byte // what was read of src, from base on
	base  int64
	keep  int64 // the place from which on it can be read again
	lines int   // how many lines lie before it
	next  int64 // where Read goes on
}

// Read implements io.Reader.
func (w *window) Read(p []byte) (int, error) {
	if at := int(w.next - w.base); at < len(w.held) {
		n := copy(p, w.held[at:])
		w.next += int64(n)
		return n, nil
	}
	n, err := w.src.Read(p)
	w.held = append(w.held, p[:n]...)
	w.next += int64(n)
	return n, err
}

// keepFrom discards the bytes before a position.
func (w *window) keepFrom(at int64) {
	w.lines += bytes.Count(w.held[w.keep-w.base:at-w.base], []byte{'\n'})
	w.keep = at
	if gone := int(at - w.base); gone > 1<<16 || gone > len(w.held)/2 {
		w.held = w.held[:copy(w.held, w.held[gone:])]
		w.base = at
	}
}

// lineAfter returns the place behind the first line from at on that is not empty. That
// line has been read.
func (w *window) lineAfter(at int64) int64 {
	data := w.held[at-w.base:]
	for n := 0; n < len(data); {
		line, _, _ := bytes.Cut(data[n:], []byte{'\n'})
		n = min(n+len(line)+1, len(data))
		if len(bytes.TrimSuffix(line, []byte{'\r'})) > 0 {
			return at + int64(n)
		}
	}
	return at + int64(len(data))
}
