package openmetrics

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strings"
	"unicode/utf8"
)

// Scanner reads a text sample after sample. Heads and comments are passed over.
type Scanner struct {
	src      *bufio.Reader
	line     int
	ended    bool
	previous Sample // the newest sample whose name and labels were right
	head     []byte // how they were written, with the space behind them
}

// longest is the longest line, in bytes.
const longest = 1 << 16

// NewScanner reads from src.
func NewScanner(src io.Reader) *Scanner { return &Scanner{src: bufio.NewReaderSize(src, longest)} }

// What can be wrong with a line. Reading goes on behind it.
var (
	ErrLong   = errors.New("the line is longer than 64 kB")
	ErrUTF8   = errors.New("the text is not UTF-8")
	ErrForm   = errors.New(`a sample is written name{label="value"} number seconds`)
	ErrTwice  = errors.New("a label appears twice")
	ErrNumber = errors.New("this is not a decimal number")
	ErrTime   = errors.New("the sample has no time in seconds since 1970 behind its value")
	ErrBehind = errors.New("a line follows # EOF")
	// ErrEnd is the error of an incomplete text, after its last sample.
	ErrEnd = errors.New("the text does not end with # EOF: part of it is missing")
)

// Line returns the number of the line that was read last.
func (s *Scanner) Line() int { return s.line }

// Next returns the next sample, whose labels are good until the next call. At the end the
// error is io.EOF. One of the errors above concerns its line alone, any other is the
// source's.
func (s *Scanner) Next() (Sample, error) {
	for {
		line, err := s.src.ReadSlice('\n')
		switch {
		case err == bufio.ErrBufferFull:
			s.line++
			for err == bufio.ErrBufferFull {
				_, err = s.src.ReadSlice('\n')
			}
			return Sample{}, ErrLong
		case err == io.EOF && len(line) == 0:
			if !s.ended {
				s.ended = true
				return Sample{}, ErrEnd
			}
			return Sample{}, io.EOF
		case err != nil && err != io.EOF:
			return Sample{}, err
		}
		s.line++
		line = bytes.TrimSuffix(line, []byte{'\n'})
		switch {
		case s.ended:
			return Sample{}, ErrBehind
		case !utf8.Valid(line):
			return Sample{}, ErrUTF8
		case string(line) == "# EOF":
			s.ended = true
			continue
		case bytes.HasPrefix(line, []byte{'#'}):
			continue
		}
		return s.sample(line)
	}
}

func (s *Scanner) sample(line []byte) (Sample, error) {
	like := len(s.head) > 0 && bytes.HasPrefix(line, s.head) // most lines are like the one before
	if !like {
		s.head = s.head[:0]
		rest, err := s.labelled(string(line))
		if err != nil {
			return Sample{}, err
		}
		s.head = append(s.head, line[:len(line)-len(rest)]...)
	}
	x := s.previous
	x.SameLabels = like
	value, seconds, _ := strings.Cut(string(line[len(s.head):]), " ")
	var ok bool
	if x.Value = value; !number(x.Value) {
		return x, ErrNumber
	}
	if x.At, ok = nanoseconds(seconds); !ok {
		return x, ErrTime
	}
	return x, nil
}

// labelled parses a name and labels and returns the rest of the line after a space.
func (s *Scanner) labelled(line string) (rest string, err error) {
	x := Sample{Labels: s.previous.Labels[:0]}
	if x.Name, line = name(line); x.Name == "" {
		return "", ErrForm
	}
	if strings.HasPrefix(line, "{") {
		if line, err = x.labels(line[1:]); err != nil {
			return "", err
		}
	}
	if !strings.HasPrefix(line, " ") {
		return "", ErrForm
	}
	s.previous = x
	return line[1:], nil
}

// labels parses labels up to their closing brace and returns the rest of the line.
func (s *Sample) labels(line string) (rest string, err error) {
	for !strings.HasPrefix(line, "}") {
		var l Label
		if l.Name, line = name(line); l.Name == "" || !strings.HasPrefix(line, `="`) {
			return "", ErrForm
		}
		for _, before := range s.Labels {
			if before.Name == l.Name {
				return "", ErrTwice
			}
		}
		var ok bool
		if l.Value, line, ok = quoted(line[2:]); !ok {
			return "", ErrForm
		}
		s.Labels = append(s.Labels, l)
		if after, more := strings.CutPrefix(line, ","); more {
			line = after
		} else if !strings.HasPrefix(line, "}") {
			return "", ErrForm
		}
	}
	return line[1:], nil
}

// name parses the name of a metric or label and returns the rest of the line.
func name(line string) (name, rest string) {
	n := 0
	for n < len(line) && (line[n] == '_' || line[n] == ':' || 'a' <= line[n]|0x20 && line[n]|0x20 <= 'z' || n > 0 && '0' <= line[n] && line[n] <= '9') {
		n++
	}
	return line[:n], line[n:]
}

// quoted reads a label's value up to its closing quotation mark.
func quoted(line string) (value, rest string, ok bool) {
	n := strings.IndexAny(line, `"\`)
	if n >= 0 && line[n] == '"' {
		return line[:n], line[n+1:], true
	}
	var b strings.Builder
	for i := 0; i < len(line); i++ {
		switch line[i] {
		case '"':
			return b.String(), line[i+1:], true
		case '\\':
			if i++; i == len(line) {
				return "", "", false
			}
			switch line[i] {
			case 'n':
				b.WriteByte('\n')
			case '\\', '"':
				b.WriteByte(line[i])
			default:
				return "", "", false
			}
		default:
			b.WriteByte(line[i])
		}
	}
	return "", "", false
}
