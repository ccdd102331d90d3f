package file

import (
	"bytes"
	"io"
	"os"
)

// Kind is what a file holds, as far as its beginning shows.
type Kind int

// The kinds of file that ohmkeep makes or reads.
const (
	Unknown    Kind = iota
	Page            // an HTML page that ohmkeep has made
	Picture         // a PNG or SVG that ohmkeep has made
	Store           // an SQLite database
	RunFile         // TOML with [[reel]] tables, from any source
	Readings        // CSV whose header names quantity and value
	Transcript      // what probe record writes
)

var kindNames = map[Kind]string{Page: "a page", Picture: "a picture", Store: "a store", RunFile: "a run file",
	Readings: "a file of readings", Transcript: "a transcript"}

func (k Kind) String() string { return kindNames[k] }

// replaceable reports whether a newer file of the kind may take an older one's place: a page,
// a picture, or the copy of a store. The others hold what people have written.
func (k Kind) replaceable() bool { return k == Page || k == Picture || k == Store }

// Marks that a page and a picture carry so that they are known as ours.
const (
	PageMark    = `<meta name="generator" content="ohmkeep`
	PictureMark = "ohmkeep picture"
)

// headBytes is how many bytes of a file are looked at.
const headBytes = 64 << 10

// KindOf returns the kind of a regular file; Unknown if it cannot be read.
func KindOf(path string) Kind {
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() {
		return Unknown // to open a named pipe may block
	}
	f, err := os.Open(path)
	if err != nil {
		return Unknown
	}
	defer f.Close()
	head := make([]byte, headBytes)
	n, _ := io.ReadFull(f, head)
	return kindOf(head[:n])
}

func kindOf(head []byte) Kind {
	header, _, _ := bytes.Cut(head, []byte("\n"))
	has := func(part string) bool { return bytes.Contains(head, []byte(part)) }
	switch {
	case bytes.HasPrefix(head, []byte("SQLite format 3\x00")): // SQLite, "Database File Format", 1.2
		return Store
	case bytes.HasPrefix(head, []byte("# ohmkeep transcript")):
		return Transcript
	case bytes.HasPrefix(head, []byte("\x89PNG")) && has(PictureMark), bytes.HasPrefix(head, []byte("<svg")) && has(PictureMark):
		return Picture
	case has(PageMark):
		return Page
	case bytes.Contains(header, []byte("quantity")) && bytes.Contains(header, []byte("value")):
		return Readings
	case has("\n[[reel]]") && has("schema"):
		return RunFile
	}
	return Unknown
}
