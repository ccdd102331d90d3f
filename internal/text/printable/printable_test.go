package printable

import (
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestLine(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"west-north", "west-north"},
		{"Süd 5 %", "Süd 5 %"},
		{"a\nb\tc\r", "a b c "},
		{"\x1b[31mred\x07", "�[31mred�"},
		{"abc\u202edef", "abc�def"}, // right-to-left override
		{"a\u00a0b\u2028c", "a b c"},
		{"\xff\ufffe", "��"},
	} {
		if got := Line(c.in); got != c.want {
			t.Errorf("Line(%q) = %q, want %q", c.in, got, c.want)
		}
	}
}

func TestShort(t *testing.T) {
	for _, c := range []struct {
		in   string
		n    int
		want string
	}{
		{"west-north", 10, "west-north"},
		{"west-north", 7, "wes…rth"},
		{"west-north", 1, "…"},
		{"", 4, ""},
	} {
		if got := Short(c.in, c.n); got != c.want {
			t.Errorf("Short(%q, %d) = %q, want %q", c.in, c.n, got, c.want)
		}
	}
	if got := Short(strings.Repeat("é", 1<<20), 9); utf8.RuneCountInString(got) != 9 || strings.Contains(got, "�") {
		t.Errorf("a long name became %q", got)
	}
}

func TestWrap(t *testing.T) {
	got := Wrap("remake joint west-north  first\nabcdefghijklmnopq x", 12)
	want := []string{"remake joint", "west-north", "first", "abcdefghijkl", "mnopq x"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := Wrap("the limit is 3 %", 14); got[1] != "3 %" {
		t.Errorf("a number was parted from its unit: %q", got)
	}
	if got := Wrap("", 10); len(got) != 1 || got[0] != "" {
		t.Errorf("an empty text became %q", got)
	}
}

func FuzzShow(f *testing.F) {
	f.Add("a\x00\u202eb", 5)
	f.Fuzz(func(t *testing.T, s string, n int) {
		n = 1 + (n&0x7fffffff)%200
		if got := Short(s, n); utf8.RuneCountInString(got) > n || !utf8.ValidString(got) {
			t.Errorf("Short(%q, %d) = %q", s, n, got)
		}
		for _, l := range Wrap(s, n) {
			if utf8.RuneCountInString(l) > n {
				t.Errorf("Wrap(%q, %d) gave the line %q", s, n, l)
			}
		}
	})
}
