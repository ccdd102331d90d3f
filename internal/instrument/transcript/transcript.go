// Package transcript records the bytes on a serial line, with times, and replays them.
//
// # The form
//
// A transcript is text, one entry a line; lines that begin with # are its head and
// comments. All bytes received are written in printable ASCII.
//
//	# ohmkeep transcript 1
//	# profile: ina226-lines
//	# port: /dev/serial/by-id/…
//	# channel: leads voltage
//	# begun: 2026-05-04T10:12:00.25Z
//	0.000000 < "ch=1 bus=9584 shunt=8000\n"
//	0.312000 > "READ?\n"
//	0.401500 ? "ch=1 bus=95" it stopped half-way
//
// The first line is required. "profile", "port" and "channel" (one for each channel of a
// device that is queried: its id and quantity) are optional. "begun" is RFC 3339, and the
// times of entries are seconds since then, to the microsecond. They may decrease, because a
// clock can be set.
//
// The mark is < for bytes from the device and > for bytes from the program. ? is a part of a
// line that the port could not return complete, with the reason; it is shown and not played.
// Within the quotation marks \n, \r, \t, \" and \\ have their usual meaning, and \xHH is any
// other byte. An entry of < may be any part of the bytes received; its time is that of the
// last byte.
package transcript

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/fault"
)

// Mark is the kind of an entry.
type Mark byte

const (
	Received Mark = '<'
	Sent     Mark = '>'
	Piece    Mark = '?'
)

// Entry is one entry.
type Entry struct {
	Time   time.Time
	Mark   Mark
	Bytes  string
	Reason string // Piece only
}

// Head is the header of a transcript.
type Head struct {
	Profile  string
	Port     string
	Channels []string // "<id> <quantity>"
	Begun    time.Time
}

// Transcript is a complete transcript.
type Transcript struct {
	Head
	Entries []Entry
}

const title = "# ohmkeep transcript 1"

// maxLine is the most bytes a line may have: four for each byte of the longest piece.
const maxLine = 1 << 16

// maxTime is the greatest time of an entry either way: a hundred years.
const maxTime = 100 * 365.25 * 86400

// Read reads a complete transcript. The error is a fault.Fault with the line.
func Read(file string, r io.Reader) (*Transcript, error) {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, maxLine)
	t := &Transcript{}
	n := 0
	wrong := func(text, hint string) error { return fault.Fault{File: file, Line: max(n, 1), Text: text, Hint: hint} }
	for lines.Scan() {
		n++
		line := strings.TrimSuffix(lines.Text(), "\r")
		switch {
		case n == 1 && line != title:
			return nil, wrong("this is not a transcript", "one begins with "+strconv.Quote(title))
		case strings.HasPrefix(line, "#"):
			if err := t.head(line); err != nil {
				return nil, wrong(err.Error(), "")
			}
		case strings.TrimSpace(line) == "":
		case t.Begun.IsZero():
			return nil, wrong("an entry before the line # begun:", "")
		default:
			e, err := parseEntry(line, t.Begun)
			if err != nil {
				return nil, wrong(err.Error(), `an entry is such as 0.250000 < "1,4.812,V\n"`)
			}
			t.Entries = append(t.Entries, e)
		}
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		n++
		return nil, wrong(fmt.Sprintf("longer than %d bytes", maxLine), "")
	} else if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if n == 0 {
		return nil, wrong("it is empty", "a transcript begins with "+strconv.Quote(title))
	}
	return t, nil
}

// head reads one line of the header. Unknown comments are ignored.
func (t *Transcript) head(line string) error {
	key, value, ok := strings.Cut(strings.TrimSpace(strings.TrimPrefix(line, "#")), ": ")
	if !ok {
		return nil
	}
	switch key {
	case "profile":
		t.Profile = value
	case "port":
		t.Port = value
	case "channel":
		t.Channels = append(t.Channels, value)
	case "begun":
		begun, err := time.Parse(time.RFC3339Nano, value)
		if err != nil {
			return fmt.Errorf("begun: %q is not a time such as 2026-05-04T10:12:00Z", value)
		}
		if !t.Begun.IsZero() {
			return errors.New("begun: appears twice; all times count from the first")
		}
		t.Begun = begun
	}
	return nil
}

func parseEntry(line string, begun time.Time) (Entry, error) {
	offset, rest, _ := strings.Cut(line, " ")
	seconds, err := strconv.ParseFloat(offset, 64)
	if err != nil || !(math.Abs(seconds) <= maxTime) {
		return Entry{}, fmt.Errorf("%q is not a time in seconds", offset)
	}
	if len(rest) < 2 || !strings.ContainsRune("<>?", rune(rest[0])) || rest[1] != ' ' {
		return Entry{}, errors.New("no mark <, > or ? behind the time")
	}
	e := Entry{Time: begun.Add(time.Duration(math.Round(seconds*1e6)) * time.Microsecond), Mark: Mark(rest[0])}
	var after string
	if e.Bytes, after, err = unquote(rest[2:]); err != nil {
		return Entry{}, err
	}
	e.Reason = strings.TrimSpace(after)
	if e.Reason != "" && e.Mark != Piece {
		return Entry{}, fmt.Errorf("%q behind the quotation marks", e.Reason)
	}
	return e, nil
}
