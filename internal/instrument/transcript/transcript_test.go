package transcript_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/instrument/transcript"
)

var begun = time.Date(2026, 5, 4, 10, 12, 0, 250_000_000, time.UTC)

func at(d time.Duration, mark transcript.Mark, bytes string) transcript.Entry {
	return transcript.Entry{Time: begun.Add(d), Mark: mark, Bytes: bytes}
}

// every returns the 256 byte values.
func every() string {
	var b []byte
	for i := range 256 {
		b = append(b, byte(i))
	}
	return string(b)
}

func written(t *testing.T, x *transcript.Transcript) string {
	t.Helper()
	var out bytes.Buffer
	w := transcript.NewWriter(&out, x.Head)
	for _, e := range x.Entries {
		w.Write(e)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// Any bytes received are written as printable ASCII and read back unchanged.
func TestRoundTrip(t *testing.T) {
	half := at(3*time.Second, transcript.Piece, "1,4.8")
	half.Reason = "it stopped half-way"
	x := &transcript.Transcript{
		Head: transcript.Head{Profile: "plain-lines", Port: "/dev/serial/by-id/x", Channels: []string{"leads voltage", "far end current"}, Begun: begun},
		Entries: []transcript.Entry{
			at(0, transcript.Received, "1,4.812,V\r\n"), at(1500*time.Microsecond, transcript.Sent, "READ?\n"),
			at(2*time.Second, transcript.Received, every()), half, at(-time.Hour, transcript.Received, ""), at(time.Second, transcript.Received, `"\`),
		},
	}
	text := written(t, x)
	for i := range len(text) {
		if text[i] != '\n' && (text[i] < ' ' || text[i] > '~') {
			t.Fatalf("byte %d is %02X", i, text[i])
		}
	}
	got, err := transcript.Read("t.txt", strings.NewReader(text))
	if err != nil || !reflect.DeepEqual(got, x) {
		t.Errorf("got %+v, %v\nof %s", got, err, text)
	}
	// The format is documented; changing it is a decision.
	want := "# ohmkeep transcript 1\n# profile: plain-lines\n# port: /dev/serial/by-id/x\n# channel: leads voltage\n# channel: far end current\n" +
		"# begun: 2026-05-04T10:12:00.25Z\n0.000000 < \"1,4.812,V\\r\\n\"\n0.001500 > \"READ?\\n\"\n2.000000 < \"\\x00\\x01"
	if !strings.HasPrefix(text, want) {
		t.Errorf("got %s", text)
	}
}

// A text in the head cannot begin a line of the transcript.
func TestHeadStaysOnItsLines(t *testing.T) {
	text := written(t, &transcript.Transcript{Head: transcript.Head{Profile: "a\n0.0 < \"x\"", Begun: begun}})
	got, err := transcript.Read("t.txt", strings.NewReader(text))
	if err != nil || len(got.Entries) != 0 || got.Profile != `a 0.0 < "x"` {
		t.Errorf("got %+v, %v", got, err)
	}
}

func TestFaults(t *testing.T) {
	const head = "# ohmkeep transcript 1\n# begun: 2026-05-04T10:12:00Z\n"
	for text, want := range map[string]string{
		"":                                    "t.txt:1: it is empty",
		"hello\n":                             "t.txt:1: this is not a transcript (one begins with \"# ohmkeep transcript 1\")",
		"# ohmkeep transcript 2":              "t.txt:1: this is not a transcript",
		"# ohmkeep transcript 1\n0.0 < \"x\"": "t.txt:2: an entry before the line # begun:",
		head + "0.0 < \"x\"\n# begun: 2426-05-04T10:12:00Z": "t.txt:4: begun: appears twice",
		"# ohmkeep transcript 1\n# begun: yesterday":        `t.txt:2: begun: "yesterday" is not a time`,
		head + "x < \"y\"":                `t.txt:3: "x" is not a time in seconds`,
		head + "NaN < \"y\"":              `"NaN" is not a time in seconds`,
		head + "1e300 < \"y\"":            `"1e300" is not a time in seconds`,
		head + "0 = \"y\"":                "no mark <, > or ? behind the time (an entry is such as",
		head + "0 <":                      "no mark",
		head + "0 < y":                    "no quotation mark",
		head + "0 < \"y":                  "no closing quotation mark",
		head + "0 < \"y\\":                "a backslash at the end",
		head + "0 < \"\\q\"":              `\q is not known`,
		head + "0 < \"\\xG0\"":            `\xG0 is not a byte`,
		head + "0 < \"\\x4":               `\x is not known`,
		head + "0 < \"é\"":                `byte C3 stands as it is; write \xC3`,
		head + "0 < \"y\" z":              `"z" behind the quotation marks`,
		head + strings.Repeat("0", 70000): "t.txt:3: longer than 65536 bytes",
	} {
		if _, err := transcript.Read("t.txt", strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.60q: got %v, want %q", text, err, want)
		}
	}
	if got, err := transcript.Read("t.txt", strings.NewReader("# ohmkeep transcript 1\r\n# begun: 2026-05-04T10:12:00Z\r\n\r\n# a remark: or two\r\n1 < \"x\"\r\n")); err != nil || len(got.Entries) != 1 {
		t.Errorf("with CRLF: %+v, %v", got, err)
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestWriterTellsItsFirstError(t *testing.T) {
	w := transcript.NewWriter(full{}, transcript.Head{Begun: begun})
	w.Write(at(0, transcript.Received, "x"))
	if err := w.Close(); err == nil || err.Error() != "no room" {
		t.Errorf("got %v", err)
	}
}

func play(entries ...transcript.Entry) *transcript.Player {
	return transcript.Play(&transcript.Transcript{Head: transcript.Head{Begun: begun}, Entries: entries})
}

// Each entry is read by itself, and the player's clock is then that of the entry.
func TestPlayerSays(t *testing.T) {
	p := play(at(time.Second, transcript.Received, "ab\n"), at(2*time.Second, transcript.Piece, "half"), at(3*time.Second, transcript.Received, "c\n"))
	if !p.Clock().Equal(begun) {
		t.Errorf("at first %v", p.Clock())
	}
	buffer := make([]byte, 2)
	for _, want := range []struct {
		text string
		at   time.Duration
	}{{"ab", time.Second}, {"\n", time.Second}, {"c\n", 3 * time.Second}} {
		n, err := p.Read(buffer)
		if err != nil || string(buffer[:n]) != want.text || !p.Clock().Equal(begun.Add(want.at)) {
			t.Errorf("%q at %v, %v; want %+v", buffer[:n], p.Clock(), err, want)
		}
	}
	if n, err := p.Read(buffer); n != 0 || !errors.Is(err, io.EOF) {
		t.Errorf("at the end: %d, %v", n, err)
	}
}

// A query is answered as the same query was in the transcript. Queries between are skipped; a query
// that is not in the transcript has no answer.
func TestPlayerAnswers(t *testing.T) {
	p := play(at(0, transcript.Sent, "*IDN?\n"), at(1, transcript.Received, "me\n"), at(2, transcript.Sent, "A?\n"), at(3, transcript.Received, "1\n"),
		at(4, transcript.Sent, "B?\n"), at(5, transcript.Received, "2\n"), at(6, transcript.Sent, "A?\n"), at(7, transcript.Received, "3\n"))
	say := func(text string) {
		t.Helper()
		if n, err := p.Write([]byte(text)); n != len(text) || err != nil {
			t.Fatal(n, err)
		}
	}
	hear := func(want string) {
		t.Helper()
		buffer := make([]byte, 16)
		if n, err := p.Read(buffer); err != nil || string(buffer[:n]) != want {
			t.Errorf("%q, %v, want %q", buffer[:n], err, want)
		}
	}
	say("*ID")
	say("N?\r\n")
	hear("me\n")
	say("B?\n")
	hear("2\n")
	say("B?\n") // not asked again in the transcript
	say("A?\n")
	hear("3\n")

	p = play(at(0, transcript.Sent, "A?\n"), at(1, transcript.Received, "1\n"), at(2, transcript.Received, "late\n"), at(3, transcript.Sent, "B?\n"), at(4, transcript.Received, "2\n"))
	say("A?\n")
	hear("1\n")
	// A late answer is not taken as the answer to another query.
	say("C?\n")
	go func() { time.Sleep(10 * time.Millisecond); _, _ = p.Write([]byte("B?\n")) }()
	hear("2\n")
}

// The player keeps the times of the transcript. Closing it ends a wait, and a silent wire stays up.
func TestPlayerPaceAndEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := play(at(0, transcript.Received, "a"), at(40*time.Millisecond, transcript.Received, "b"), at(10*time.Millisecond, transcript.Received, "c"))
		p.Paced, p.Quiet = true, true
		buffer := make([]byte, 1)
		start := time.Now()
		for range 3 {
			if _, err := p.Read(buffer); err != nil {
				t.Fatal(err)
			}
		}
		if took := time.Since(start); took < 39*time.Millisecond || buffer[0] != 'c' {
			t.Errorf("took %v to %q", took, buffer)
		}
		go func() { time.Sleep(20 * time.Millisecond); _ = p.Close() }()
		if n, err := p.Read(buffer); n != 0 || !errors.Is(err, os.ErrClosed) {
			t.Errorf("%d, %v", n, err)
		}
		if _, err := p.Write([]byte("x")); !errors.Is(err, os.ErrClosed) {
			t.Errorf("writing after the end: %v", err)
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	})
}

// What can be read can be written, and reading it again gives the same.
func FuzzRead(f *testing.F) {
	f.Add("# ohmkeep transcript 1\n# begun: 2026-05-04T10:12:00Z\n0.25 < \"1,4.8,V\\n\"\n1 ? \"x\\xFF\" why\n")
	f.Fuzz(func(t *testing.T, text string) {
		x, err := transcript.Read("t.txt", strings.NewReader(text))
		if err != nil || x.Begun.IsZero() {
			return
		}
		again, err := transcript.Read("t.txt", strings.NewReader(written(t, x)))
		if err != nil || !reflect.DeepEqual(again.Entries, x.Entries) && !sameEntries(again.Entries, x.Entries) {
			t.Errorf("%q became %+v, %v", text, again, err)
		}
	})
}

func sameEntries(a, b []transcript.Entry) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		d := a[i].Time.Sub(b[i].Time).Abs()
		if a[i].Mark != b[i].Mark || a[i].Bytes != b[i].Bytes || d > 2*time.Microsecond {
			return false
		}
	}
	return true
}
