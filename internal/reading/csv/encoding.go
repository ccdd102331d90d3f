package csv

import (
	"bufio"
	"io"

	"golang.org/x/text/encoding/unicode"
)

// decoded returns a file as UTF-8 without a byte order mark, and what was understood of it.
// UTF-16 is known by its mark; without one the file is UTF-8 or refused row by row.
func decoded(src io.Reader) (text *bufio.Reader, note string) {
	text = bufio.NewReaderSize(src, sampleSize)
	switch mark, _ := text.Peek(3); {
	case len(mark) == 3 && string(mark) == "\ufeff":
		_, _ = text.Discard(3)
	case len(mark) >= 2 && (string(mark[:2]) == "\xff\xfe" || string(mark[:2]) == "\xfe\xff"):
		utf16 := unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder()
		return bufio.NewReaderSize(utf16.Reader(text), sampleSize), "UTF-16"
	}
	return text, ""
}
