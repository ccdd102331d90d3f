package archive

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/store"
)

// Two marks that are equal, as a store in another zone than UTC has read them, are two rows.
func TestEqualMarks(t *testing.T) {
	at := time.Date(2026, 1, 31, 20, 0, 0, 0, time.UTC)
	var d store.Delivery
	for range 2 {
		d.Marks = append(d.Marks, store.Mark{Time: at.In(time.FixedZone("", 3600)), Kind: store.MarkNote, Text: "tab\tand line\n"})
	}
	rows := (&Sink{siteID: 7, run: "Shelf"}).markRows(&d)
	lines := bytes.Split(bytes.TrimSpace(rows), []byte("\n"))
	if len(lines) != 2 || bytes.Equal(lines[0], lines[1]) {
		t.Fatalf("%q", rows)
	}
	for _, l := range lines {
		part := strings.Split(string(l), "\t")
		part[4] = "" // the checksum
		if got := strings.Join(part, "|"); got != `7|Shelf|0|1769889600000000000||3600|note||tab\tand line\n|\N` {
			t.Errorf("%s", got)
		}
	}
}
