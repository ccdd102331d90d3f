package port

import "time"

// Pictures cuts a stream of bytes into the pictures of a display, which are all of one size. Bytes that belong to no
// picture are emitted as a line of their own, so that they are counted.
type Pictures struct {
	Size  int
	Ends  func(received []byte) bool // reports whether the last byte may end a picture
	Whole func(picture []byte) bool  // reports whether Size bytes have the form of a picture
	// Shifts is whether a picture with a doubled byte can end in Size bytes that have the form of a picture. Then a
	// picture directly behind one to three lost bytes is not taken.
	Shifts bool

	received []byte
	times    []time.Time // of each byte
	started  bool        // what came first was being sent when the port was opened
}

const (
	// maxPictureBytes are the bytes without an end of a picture that are held.
	maxPictureBytes = 64
	// pictureGap is longer than it takes to send a picture (58 ms at 2400 baud), and shorter than the pause between
	// the first bytes of two.
	pictureGap = 100 * time.Millisecond
	// stalledGap is the silence within a picture after which later bytes belong to another one: joined, their digits
	// could be a value that was never shown.
	stalledGap = 150 * time.Millisecond
	// mostDoubled is the most bytes of one picture that are taken to be doubled.
	mostDoubled = 3
)

func (s *Pictures) gap() time.Duration { return stalledGap }

// feed processes the bytes read at a time.
func (s *Pictures) feed(read []byte, at time.Time, emit func(Line)) {
	for _, b := range read {
		s.received, s.times = append(s.received, b), append(s.times, at)
		switch lost := len(s.received) - s.Size; {
		case !s.Ends(s.received):
			if len(s.received) == maxPictureBytes {
				s.emitLost(len(s.received), "", emit)
			}
		case lost >= 0 && s.Whole(s.received[lost:]) && s.separate(lost, at):
			s.emitLost(lost, "", emit)
			s.started = false
			emit(Line{Text: string(s.received), Time: at})
			s.forget()
		default:
			s.emitLost(len(s.received), "", emit)
		}
	}
}

// separate reports whether a picture that ends at a time is not the rest of one with doubled bytes.
func (s *Pictures) separate(lost int, at time.Time) bool {
	return lost == 0 || lost > mostDoubled || !s.Shifts || at.Sub(s.times[lost-1]) >= pictureGap
}

// emitLost emits and removes the first n bytes, which belong to no picture.
func (s *Pictures) emitLost(n int, why Fault, emit func(Line)) {
	if n == 0 {
		return
	}
	l := Line{Text: string(s.received[:n]), Time: s.times[n-1], Fault: why}
	if s.started {
		l.Fault, s.started = StartMissing, false
	}
	s.received, s.times = append(s.received[:0], s.received[n:]...), append(s.times[:0], s.times[n:]...)
	emit(l)
}

// stalled ends a picture that stopped half-way.
func (s *Pictures) stalled(emit func(Line)) { s.emitLost(len(s.received), Stalled, emit) }

// begun receives the byte that came directly after opening: a picture may be half sent already.
func (s *Pictures) begun(first byte, at time.Time) {
	s.received, s.times, s.started = append(s.received, first), append(s.times, at), true
}

func (s *Pictures) forget() { s.received, s.times = s.received[:0], s.times[:0] }
