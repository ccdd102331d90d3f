package showtest

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files again")

var svg = regexp.MustCompile(`(?s)<svg .*?</svg>`)

// Golden compares what was written with a file in the package's testdata, as a person
// has read it over; with -update it writes the file. JSON is compared indented, a page
// without its pictures, which have tests of their own.
func Golden(t *testing.T, name string, got []byte) {
	t.Helper()
	switch filepath.Ext(name) {
	case ".json":
		var lines bytes.Buffer
		if err := json.Indent(&lines, got, "", " "); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		got = lines.Bytes()
	case ".html":
		got = svg.ReplaceAll(got, []byte("<svg/>"))
	}
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs from its golden file; see with go test -update and git diff. Got:\n%s", name, got)
	}
}

// Broken is a writer that fails.
type Broken struct{}

// Write fails.
func (Broken) Write([]byte) (int, error) { return 0, os.ErrClosed }

// Fits checks that no line of a text is wider than so many columns, or holds a control
// character.
func Fits(t *testing.T, text string, columns int) {
	t.Helper()
	for line := range strings.Lines(text) {
		runes := []rune(strings.TrimSuffix(line, "\n"))
		if len(runes) > columns {
			t.Errorf("%d columns, not %d: %s", len(runes), columns, line)
		}
		for _, r := range runes {
			if r < ' ' || r == 0x7f {
				t.Errorf("a control character in %q", line)
			}
		}
	}
}
