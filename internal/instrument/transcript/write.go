package transcript

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"
)

// Writer writes a transcript. After the first error it writes nothing more; Close returns that
// error. It is not safe for concurrent use.
type Writer struct {
	out   *bufio.Writer
	begun time.Time
	err   error
}

// NewWriter writes the header. Line breaks in its texts are replaced.
func NewWriter(w io.Writer, h Head) *Writer {
	t := &Writer{out: bufio.NewWriter(w), begun: h.Begun.Round(0).Truncate(time.Microsecond)}
	t.line("%s", title)
	for _, kept := range []struct{ key, value string }{{"profile", h.Profile}, {"port", h.Port}} {
		if kept.value != "" {
			t.line("# %s: %s", kept.key, oneLine(kept.value))
		}
	}
	for _, c := range h.Channels {
		t.line("# channel: %s", oneLine(c))
	}
	t.line("# begun: %s", t.begun.Format(time.RFC3339Nano))
	return t
}

// Write writes one entry at once, so that an interrupted recording is complete up to then.
func (t *Writer) Write(e Entry) {
	text := fmt.Sprintf("%.6f %c %s", e.Time.Round(0).Truncate(time.Microsecond).Sub(t.begun).Seconds(), e.Mark, quote(e.Bytes))
	if e.Mark == Piece && e.Reason != "" {
		text += " " + oneLine(e.Reason)
	}
	t.line("%s", text)
	if err := t.out.Flush(); t.err == nil {
		t.err = err
	}
}

func (t *Writer) line(format string, args ...any) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.out, format+"\n", args...)
	}
}

// Close returns the first write error. It does not close the file.
func (t *Writer) Close() error {
	if err := t.out.Flush(); t.err == nil {
		t.err = err
	}
	return t.err
}

// oneLine replaces control characters of a text of the header by blanks.
func oneLine(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s))
}
