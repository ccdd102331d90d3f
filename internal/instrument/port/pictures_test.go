package port

import (
	"bytes"
	"testing"
	"time"
)

// numbered are pictures of four bytes with the numbers 1 to 4 in the high nibble.
func numbered() *Pictures {
	return &Pictures{Size: 4, Ends: func(b []byte) bool { return len(b) >= 4 && b[len(b)-1]>>4 == 4 },
		Whole: func(p []byte) bool {
			for i, b := range p {
				if int(b>>4) != i+1 {
					return false
				}
			}
			return true
		}}
}

// ended are pictures of six bytes that end with LF.
func ended() *Pictures {
	return &Pictures{Size: 6, Shifts: true, Ends: func(b []byte) bool { return b[len(b)-1] == '\n' },
		Whole: func(p []byte) bool { return bytes.IndexByte(p, '\n') == len(p)-1 }}
}

// sent is a piece of the stream and the time since the piece before.
type sent struct {
	after time.Duration
	bytes string
}

func TestPictures(t *testing.T) {
	const picture = "\x11\x22\x33\x44"
	type lines = []string
	for _, c := range []struct {
		name   string
		of     *Pictures
		stream []sent
		want   lines
	}{
		{"one", numbered(), []sent{{0, picture}}, lines{picture}},
		{"two at once", numbered(), []sent{{0, picture + picture}}, lines{picture, picture}},
		{"byte by byte", numbered(), []sent{{0, "\x11"}, {0, "\x22"}, {time.Second, "\x33"}, {0, "\x44"}}, lines{picture}},
		{"cut at the end", numbered(), []sent{{0, "\x11\x22" + picture}}, lines{"\x11\x22", picture}},
		{"cut at the start", numbered(), []sent{{0, "\x33\x44" + picture}}, lines{"\x33\x44", picture}},
		{"a byte missing", numbered(), []sent{{0, "\x11\x33\x44" + picture}}, lines{"\x11\x33\x44", picture}},
		{"doubled byte", numbered(), []sent{{0, "\x11\x22\x22\x33\x44" + picture}}, lines{"\x11\x22\x22\x33\x44", picture}},
		{"doubled first byte", numbered(), []sent{{0, "\x11" + picture}}, lines{"\x11", picture}},
		{"a flipped number", numbered(), []sent{{0, "\x11\x62\x33\x44" + picture}}, lines{"\x11\x62\x33\x44", picture}},
		{"a number flipped to the last", numbered(), []sent{{0, "\x11\x42\x33\x44" + picture}}, lines{"\x11\x42\x33\x44", picture}},
		{"the last number flipped", numbered(), []sent{{0, "\x11\x22\x33\x54" + picture}}, lines{"\x11\x22\x33\x54", picture}},
		{"line", ended(), []sent{{0, "abcde\nABCDE\n"}}, lines{"abcde\n", "ABCDE\n"}},
		{"short line", ended(), []sent{{0, "abc\nABCDE\n"}}, lines{"abc\n", "ABCDE\n"}},
		{"cut line", ended(), []sent{{0, "abcdABCDE\n"}}, lines{"abcd", "ABCDE\n"}},
		{"a doubled byte of a line", ended(), []sent{{0, "abbcde\nABCDE\n"}}, lines{"abbcde\n", "ABCDE\n"}},
		{"three doubled bytes of a line", ended(), []sent{{0, "aabbccde\nABCDE\n"}}, lines{"aabbccde\n", "ABCDE\n"}},
		{"cut early, and the next at once", ended(), []sent{{0, "abABCDE\n"}}, lines{"abABCDE\n"}},
		{"cut early, and the next later", ended(), []sent{{0, "ab"}, {pictureGap, "ABCDE\n"}}, lines{"ab", "ABCDE\n"}},
		{"noise without an end", ended(), []sent{{0, string(bytes.Repeat([]byte("x"), 2*maxPictureBytes)) + "ABCDE\n"}},
			lines{string(bytes.Repeat([]byte("x"), maxPictureBytes)), string(bytes.Repeat([]byte("x"), maxPictureBytes)), "ABCDE\n"}},
	} {
		var got lines
		at := time.Unix(0, 0)
		for _, s := range c.stream {
			at = at.Add(s.after)
			c.of.feed([]byte(s.bytes), at, func(l Line) {
				got = append(got, l.Text)
				if l.Fault != "" {
					t.Errorf("%s: %+v", c.name, l)
				}
			})
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s: got %q, want %q", c.name, got, c.want)
			}
		}
	}
}

// A picture whose first bytes were missed is skipped and not counted as broken. A whole one that
// arrives at once is used.
func TestPicturesBegun(t *testing.T) {
	for stream, want := range map[string]Line{"\x33\x44\x11\x22\x33\x44": {Text: "\x33\x44", Fault: StartMissing}, "\x11\x22\x33\x44": {Text: "\x11\x22\x33\x44"}} {
		var got []Line
		p := numbered()
		p.begun(stream[0], time.Time{})
		p.feed([]byte(stream[1:]), time.Time{}, func(l Line) { got = append(got, l) })
		p.feed([]byte("\x11\x12"), time.Time{}, func(Line) {})
		p.stalled(func(l Line) { got = append(got, l) })
		if got[0] != want || got[len(got)-1] != (Line{Text: "\x11\x12", Fault: Stalled}) {
			t.Errorf("% X: got %q, want %q", stream, got, want)
		}
	}
}

// Bytes that arrive in any pieces give the same pictures. No byte is lost or added, and the memory
// is bounded.
func FuzzPictures(f *testing.F) {
	f.Add([]byte("\x11\x22\x22\x33\x44\x11\x22\x33\x44"), uint8(1))
	f.Add([]byte("abcABCDE\nab\n"), uint8(2))
	f.Fuzz(func(t *testing.T, stream []byte, size uint8) {
		for _, of := range []func() *Pictures{numbered, ended} {
			whole, parts := of(), of()
			var a, b, all []byte
			emit := func(to *[]byte) func(Line) {
				return func(l Line) { *to = append(append(*to, l.Text...), 0xff) }
			}
			whole.feed(stream, time.Time{}, emit(&a))
			for rest := stream; len(rest) > 0; {
				n := min(len(rest), int(size)+1)
				parts.feed(rest[:n], time.Time{}, emit(&b))
				rest = rest[n:]
			}
			if !bytes.Equal(a, b) || len(whole.received) > maxPictureBytes || len(whole.times) != len(whole.received) {
				t.Errorf("at once %q, in pieces %q, held %d", a, b, len(whole.received))
			}
			again := of()
			again.feed(stream, time.Time{}, func(l Line) { all = append(all, l.Text...) })
			if !bytes.Equal(append(all, again.received...), stream) {
				t.Errorf("of %q came %q", stream, all)
			}
		}
	})
}
