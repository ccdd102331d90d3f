package port

import (
	"bytes"
	"time"
)

// Framing cuts a stream of bytes into lines or pictures, in bounded memory. A line without a time has that of
// the bytes that ended it.
type Framing interface {
	feed(read []byte, at time.Time, emit func(Line))
	stalled(emit func(Line))        // the line being received is not going to end
	begun(first byte, at time.Time) // receives the byte that came directly after opening
	forget()                        // discards what was received
	gap() time.Duration             // silence within a line after which its rest is not expected
}

// maxLine is the largest number of bytes of a line; no supported device needs half of it.
const maxLine = 512

// splitter splits a stream of bytes into lines, in bounded memory, also where no line ends. It is
// within a line, within one that is too long and discarded, or not synchronised, where the start of
// the line is missing.
type splitter struct {
	end            byte // what ends a line: '\n', with or without '\r' before it, or '\r'
	partial        []byte
	tooLong        bool
	unsynchronised bool // not synchronised
}

// Lines returns the framing of lines that end as a profile's terminator does.
func Lines(terminator string) Framing {
	if terminator == "\r" {
		return &splitter{end: '\r'}
	}
	return &splitter{end: '\n'}
}

// lineGap is longer than the pauses of a slow board, about as long as a restart.
const lineGap = 3 * time.Second

func (s *splitter) gap() time.Duration { return lineGap }

// feed processes the bytes read and emits every line that they end.
func (s *splitter) feed(read []byte, _ time.Time, emit func(Line)) {
	for len(read) > 0 {
		i := bytes.IndexByte(read, s.end)
		if i < 0 {
			s.append(read)
			return
		}
		s.append(read[:i])
		s.endLine(emit)
		read = read[i+1:]
	}
}

// append keeps a part of a line, as long as the line is not too long.
func (s *splitter) append(part []byte) {
	room := maxLine + 1 - len(s.partial) // one more, for the '\r' of "\r\n"
	if len(part) > room {
		part, s.tooLong = part[:room], true
	}
	s.partial = append(s.partial, part...)
}

// endLine ends the current line.
func (s *splitter) endLine(emit func(Line)) {
	text := s.partial
	if s.end == '\n' {
		text = bytes.TrimSuffix(text, []byte("\r"))
	} else {
		text = bytes.TrimPrefix(text, []byte("\n"))
	}
	l := Line{Text: string(text)}
	switch {
	case s.unsynchronised:
		l.Fault = StartMissing
	case s.tooLong || len(text) > maxLine:
		l.Fault = TooLong
	}
	s.forget()
	emit(l)
}

// stalled ends a line that stopped half-way, so that later bytes are not read as its second half.
func (s *splitter) stalled(emit func(Line)) {
	if len(s.partial) == 0 {
		return
	}
	l := Line{Text: string(s.partial), Fault: Stalled}
	if s.unsynchronised {
		l.Fault = StartMissing
	}
	s.forget()
	emit(l)
}

// begun notes that the beginning of a line was missed, if a line is being sent.
func (s *splitter) begun(first byte, _ time.Time) {
	if first != s.end {
		s.append([]byte{first})
		s.unsynchronised = true
	}
}

// forget starts a new line.
func (s *splitter) forget() { s.partial, s.tooLong, s.unsynchronised = s.partial[:0], false, false }
