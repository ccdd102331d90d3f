package csv

import (
	"bufio"
	"bytes"
	"io"

	"golang.org/x/text/encoding/unicode"
)

// decoded returns a file as UTF-8 without a byte order mark, and what was understood of it.
// UTF-16 is known by its mark; without one the file is UTF-8 or refused row by row. Lines may end
// with a carriage return alone, as some old spreadsheets write them.
func decoded(src io.Reader) (text *bufio.Reader, notes []string) {
	text, notes = inUTF8(src)
	if sample, _ := text.Peek(sampleSize); bytes.IndexByte(sample, '\n') < 0 && bytes.IndexByte(sample, '\r') >= 0 {
		return bufio.NewReaderSize(lineFeeds{text}, sampleSize), append(notes, "lines that end with a carriage return")
	}
	return text, notes
}

// lineFeeds reads carriage returns as line feeds.
type lineFeeds struct{ src io.Reader }

func (r lineFeeds) Read(p []byte) (int, error) {
	n, err := r.src.Read(p)
	for i, c := range p[:n] {
		if c == '\r' {
			p[i] = '\n'
		}
	}
	return n, err
}

func inUTF8(src io.Reader) (text *bufio.Reader, notes []string) {
	text = bufio.NewReaderSize(src, sampleSize)
	switch mark, _ := text.Peek(3); {
	case len(mark) == 3 && string(mark) == "\ufeff":
		_, _ = text.Discard(3)
	case len(mark) >= 2 && (string(mark[:2]) == "\xff\xfe" || string(mark[:2]) == "\xfe\xff"):
		utf16 := unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder()
		return bufio.NewReaderSize(utf16.Reader(text), sampleSize), []string{"UTF-16"}
	}
	return text, nil
}
