package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"ohmkeep/internal/cli"
)

// The README shows what its commands print, in this order; of long output the beginning.
func TestReadmeShowsWhatCommandsPrint(t *testing.T) {
	t.Chdir("../..")
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	rest := string(readme)
	for _, name := range []string{"assess testdata/commissioning", "colour testdata/colour", "repair testdata/colour"} {
		word, folder, _ := strings.Cut(name, " ")
		_, block, found := strings.Cut(rest, "a test keeps it true -->\n```\n")
		shown, after, closed := strings.Cut(block, "```")
		if !found || !closed {
			t.Fatalf("the README's output block of %s is gone", word)
		}
		rest = after
		var out, faults bytes.Buffer
		status := cli.Run(context.Background(), []string{word, folder + "/run.toml", folder + "/readings.csv"},
			strings.NewReader(""), &out, &faults)
		if status != cli.Fails || faults.Len() > 0 {
			t.Fatalf("status %d: %s", status, faults.String())
		}
		if begin, cut := strings.CutSuffix(shown, "…\n"); cut && strings.HasPrefix(out.String(), begin) {
			continue
		}
		if out.String() != shown {
			t.Errorf("%s prints\n%s\nthe README shows\n%s", word, out.String(), shown)
		}
	}
}
