package port

import (
	"reflect"
	"strings"
	"testing"
	"time"
)

func split(s *splitter, pieces ...string) (lines []Line) {
	for _, p := range pieces {
		s.feed([]byte(p), time.Time{}, func(l Line) { lines = append(lines, l) })
	}
	return lines
}

func TestSplitter(t *testing.T) {
	most := strings.Repeat("x", maxLine)
	for _, c := range []struct {
		name   string
		start  splitter
		pieces []string
		want   []Line
	}{
		{"one", splitter{}, []string{"a\n"}, []Line{{Text: "a"}}},
		{"both ends", splitter{}, []string{"a\r\nb\n\r\n"}, []Line{{Text: "a"}, {Text: "b"}, {Text: ""}}},
		{"byte by byte", splitter{}, strings.Split("ab\r\ncd\n", ""), []Line{{Text: "ab"}, {Text: "cd"}}},
		{"only one CR belongs to the end", splitter{}, []string{"a\r\r\n"}, []Line{{Text: "a\r"}}},
		{"no end yet", splitter{}, []string{"a"}, nil},
		{"CR alone ends where the profile says so", splitter{end: '\r'}, []string{"a\rb\r\nc\r"}, []Line{{Text: "a"}, {Text: "b"}, {Text: "c"}}},
		{"as long as may be", splitter{}, []string{most + "\r\n"}, []Line{{Text: most}}},
		{"too long", splitter{}, []string{most, "y", "\n", "b\n"}, []Line{{Text: most + "y", Fault: TooLong}, {Text: "b"}}},
		{"much too long", splitter{}, []string{strings.Repeat(most, 200), "\nb\n"}, []Line{{Text: most + "x", Fault: TooLong}, {Text: "b"}}},
		{"not synchronised", splitter{unsynchronised: true}, []string{"1,4.8,V\n1,4.9,V\n"}, []Line{{Text: "1,4.8,V", Fault: StartMissing}, {Text: "1,4.9,V"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.start
			if s.end == 0 {
				s.end = '\n'
			}
			if got := split(&s, c.pieces...); !reflect.DeepEqual(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
			if cap(s.partial) > 4*maxLine {
				t.Errorf("holds %d bytes", cap(s.partial))
			}
		})
	}
}

// The part of a line that stopped is a line of its own, not the beginning of the next one.
func TestStall(t *testing.T) {
	s := splitter{end: '\n'}
	var got []Line
	emit := func(l Line) { got = append(got, l) }
	s.stalled(emit)
	s.feed([]byte("1"), time.Time{}, emit)
	s.stalled(emit)
	s.feed([]byte("1,4.9,V\n"), time.Time{}, emit)
	if want := []Line{{Text: "1", Fault: Stalled}, {Text: "1,4.9,V"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Bytes that arrive in any pieces give the same lines. No line exceeds the limit, and the memory is
// bounded.
func FuzzSplitter(f *testing.F) {
	f.Add("a\r\nb\n", uint8(1))
	f.Add(strings.Repeat("x", 2000)+"\nb\n", uint8(7))
	f.Fuzz(func(t *testing.T, stream string, size uint8) {
		whole := split(&splitter{end: '\n'}, stream)
		var pieces []string
		for rest := stream; rest != ""; {
			n := min(len(rest), int(size)+1)
			pieces, rest = append(pieces, rest[:n]), rest[n:]
		}
		s := splitter{end: '\n'}
		if got := split(&s, pieces...); !reflect.DeepEqual(got, whole) {
			t.Errorf("in pieces %q, at once %q", got, whole)
		}
		for _, l := range whole {
			if len(l.Text) > maxLine+1 || l.Fault == "" && len(l.Text) > maxLine {
				t.Errorf("a line of %d bytes", len(l.Text))
			}
		}
		if len(s.partial) > maxLine+1 {
			t.Errorf("holds %d bytes", len(s.partial))
		}
	})
}
