package port

import "bytes"

// longest is the most bytes that a line may have; no device of ours needs half.
const longest = 512

// splitter cuts a stream of bytes into lines, in bounded memory, also where no line ends.
// It is in one of three states: within a line, within one that is too long and
// is let go, or not synchronised, where the beginning of the line was missed.
type splitter struct {
	end     byte // what ends a line: '\n', with or without '\r' before it, or '\r'
	partial []byte
	tooLong bool
	lost    bool // not synchronised
}

// feed takes what was read and gives every line that it ends.
func (s *splitter) feed(read []byte, emit func(Line)) {
	for len(read) > 0 {
		i := bytes.IndexByte(read, s.end)
		if i < 0 {
			s.hold(read)
			return
		}
		s.hold(read[:i])
		s.cut(emit)
		read = read[i+1:]
	}
}

// hold keeps a part of a line as long as the line may still be one.
func (s *splitter) hold(part []byte) {
	room := longest + 1 - len(s.partial) // one more, for the '\r' of "\r\n"
	if len(part) > room {
		part, s.tooLong = part[:room], true
	}
	s.partial = append(s.partial, part...)
}

// cut ends the line that is held.
func (s *splitter) cut(emit func(Line)) {
	text := s.partial
	if s.end == '\n' {
		text = bytes.TrimSuffix(text, []byte("\r"))
	} else {
		text = bytes.TrimPrefix(text, []byte("\n"))
	}
	l := Line{Text: string(text)}
	switch {
	case s.lost:
		l.Fault = Beheaded
	case s.tooLong || len(text) > longest:
		l.Fault = TooLong
	}
	s.forget()
	emit(l)
}

// stall ends a line that stopped half-way, so that what comes later is not read
// as its other half.
func (s *splitter) stall(emit func(Line)) {
	if len(s.partial) == 0 {
		return
	}
	l := Line{Text: string(s.partial), Fault: Stalled}
	if s.lost {
		l.Fault = Beheaded
	}
	s.forget()
	emit(l)
}

// forget begins a new line.
func (s *splitter) forget() { s.partial, s.tooLong, s.lost = s.partial[:0], false, false }
