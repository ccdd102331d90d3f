package openmetrics

import (
	"bytes"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
)

// The form of a whole text: OpenMetrics 1.0.0, "Text Format", ABNF and its example
// of gauges (FROM MEMORY; promtool reads what Writer writes in a test of the command).
func TestWriter(t *testing.T) {
	var b strings.Builder
	w := NewWriter(&b)
	w.Family("hall_volts", "volts", "Two \"rails\"\nof a \\ hall.")
	s := w.Series([]Label{{"run", `a "b" \` + "\n"}, {"step", ""}, {"from", "west.1+"}})
	s.Sample("4.812", 1_772_389_800_000_000_000)
	s.Sample("+4.8E0", 1_772_389_800_250_000_001)
	w.Series(nil).Sample("-0", 0)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if want := `# TYPE hall_volts gauge
# UNIT hall_volts volts
# HELP hall_volts Two \"rails\"\nof a \\ hall.
hall_volts{run="a \"b\" \\\n",from="west.1+"} 4.812 1772389800
hall_volts{run="a \"b\" \\\n",from="west.1+"} +4.8E0 1772389800.250000001
hall_volts -0 0
# EOF
`; b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
	full := NewWriter(iotestWriter{})
	full.Family("hall_volts", "volts", strings.Repeat("long ", 1<<15))
	if err := full.Close(); err != errFull {
		t.Errorf("a full disk: %v", err)
	}
}

var errFull = errors.New("no space left")

type iotestWriter struct{}

func (iotestWriter) Write([]byte) (int, error) { return 0, errFull }

func TestScanner(t *testing.T) {
	text := "# TYPE v gauge\n\xef\xbb\xbf# HELP\n" +
		"v 1 2\n" + // 3
		`v{a="1",b="x\"\\\ny"} -1.5e-3 0.000000001` + "\n" + // 4
		`v{a="1",b="x\"\\\ny"} .5 10` + "\n" + // 5, like 4
		`v{a="1"} 5. 1` + "\n" + // 6
		"v{} 7 1.50\n" + // 7
		"v 1\n" + // 8: no time
		"v{a=1} 1 2\n" +
		`v{a="1",a="2"} 1 2` + "\n" +
		`v{a="1} 1 2` + "\n" +
		`v{a="\t"} 1 2` + "\n" +
		"v  1 2\n" +
		"v NaN 2\n" +
		"v 0x1 2\n" + // 15
		"v 1e 2\n" +
		"v 1 2.0000000001\n" +
		"v 1 9223372037\n" +
		"v 1 1e3\n" +
		"1v 1 2\n" + // 20
		"\n" +
		"v{a=\"\xff\"} 1 2\n" +
		"v{a=\"" + strings.Repeat("x", longest) + "\"} 1 2\n" +
		"v 3 -1.5\n" + // 24
		"# EOF\n" +
		"v 4 5\n"
	want := []any{ErrForm, // the byte order mark stands before no comment
		Sample{"v", nil, "1", 2e9, false}, Sample{"v", []Label{{"a", "1"}, {"b", "x\"\\\ny"}}, "-1.5e-3", 1, false},
		Sample{"v", []Label{{"a", "1"}, {"b", "x\"\\\ny"}}, ".5", 10e9, true}, Sample{"v", []Label{{"a", "1"}}, "5.", 1e9, false},
		Sample{"v", nil, "7", 1.5e9, false},
		ErrTime, ErrForm, ErrTwice, ErrForm, ErrForm, ErrNumber, ErrNumber, ErrNumber, ErrNumber, ErrTime, ErrTime, ErrTime, ErrForm, ErrForm, ErrUTF8, ErrLong,
		Sample{"v", nil, "3", -1.5e9, false}, ErrBehind}
	for name, src := range map[string]io.Reader{"whole": strings.NewReader(text), "bytes": iotest.OneByteReader(strings.NewReader(text))} {
		s := NewScanner(src)
		for i, w := range want {
			x, err := s.Next()
			switch w := w.(type) {
			case error:
				if err != w {
					t.Errorf("%s, line %d: got %+v, %v, want %v", name, s.Line(), x, err, w)
				}
			case Sample:
				if err != nil || x.Name != w.Name || !slices.Equal(x.Labels, w.Labels) || x.Value != w.Value || x.At != w.At || x.SameLabels != w.SameLabels {
					t.Errorf("%s, sample %d, line %d: got %+v, %v, want %+v", name, i, s.Line(), x, err, w)
				}
			}
		}
		if _, err := s.Next(); err != io.EOF || s.Line() != 26 {
			t.Errorf("%s: at the end %v in line %d", name, err, s.Line())
		}
	}
}

// A text that was cut off says so, once.
func TestScannerCutOff(t *testing.T) {
	for _, text := range []string{"", "v 1 2\n", "v 1 2\n# EO"} {
		s := NewScanner(strings.NewReader(text))
		var errs []error
		for {
			_, err := s.Next()
			if err == io.EOF {
				break
			}
			if err != nil {
				errs = append(errs, err)
			}
		}
		if !slices.Equal(errs, []error{ErrEnd}) {
			t.Errorf("%q: %v", text, errs)
		}
	}
	broken := errors.New("the card was pulled")
	s := NewScanner(io.MultiReader(strings.NewReader("v 1 2\n"), iotest.ErrReader(broken)))
	if _, err := s.Next(); err != nil {
		t.Error(err)
	}
	if _, err := s.Next(); err != broken {
		t.Error(err)
	}
}

func TestSeconds(t *testing.T) {
	for _, at := range []int64{0, 1, -1, 999_999_999, 1e9, -1e9, -1_000_000_001, 1_772_389_800_123_456_789, 9_223_372_035_999_999_999} {
		text := string(appendSeconds(nil, at))
		if back, ok := nanoseconds(text); back != at || !ok {
			t.Errorf("%d is written %s, which is %d, %v", at, text, back, ok)
		}
	}
	for _, text := range []string{"", ".", ".5", "-", "+1", "1.", "9223372036", "1_0", "1.0000000001", "99999999999", "1 2"} {
		if at, ok := nanoseconds(text); ok && text != "1." {
			t.Errorf("%q is %d ns", text, at)
		}
	}
}

// A sample that was read can be written and read again, and stays the same.
func FuzzScanner(f *testing.F) {
	f.Add([]byte("# TYPE v gauge\nv{a=\"1\",b=\"\\\"\"} -1.5e-3 0.5\n# EOF\n"))
	f.Add([]byte("v{a=\"1\"} 1 2\nv{a=\"1\"} 1 3\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		read := func(text []byte) (all []Sample) {
			s := NewScanner(bytes.NewReader(text))
			for {
				x, err := s.Next()
				if err == io.EOF {
					return all
				}
				if err == nil {
					x.Labels = slices.DeleteFunc(slices.Clone(x.Labels), func(l Label) bool { return l.Value == "" })
					all = append(all, x)
				}
			}
		}
		all := read(text)
		var b bytes.Buffer
		w := NewWriter(&b)
		for _, x := range all {
			if x.At == math.MinInt64 {
				t.Fatal("a time that cannot be written")
			}
			w.family = x.Name
			w.Series(x.Labels).Sample(x.Value, x.At)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		again := read(b.Bytes())
		if !slices.EqualFunc(all, again, func(a, b Sample) bool {
			return a.Name == b.Name && slices.Equal(a.Labels, b.Labels) && a.Value == b.Value && a.At == b.At
		}) {
			t.Errorf("read %+v\nwritten\n%s\nread again %+v", all, b.Bytes(), again)
		}
	})
}
