package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ohmkeep/internal/cli"
	"ohmkeep/internal/show/showtest"
)

// shown are the README's examples: each of its output blocks is what the command prints,
// in this order, and each picture what it draws.
var shown = []struct{ command, folder, picture string }{
	{"assess", "testdata/commissioning", "resistances.png"},
	{"colour", "testdata/colour", "colour.png"},
	{"repair", "testdata/colour", "repairs.png"},
}

// The README shows what its commands print, of long output the beginning, and draw. With
// -update the blocks and the pictures are written again.
func TestReadmeShowsWhatCommandsPrint(t *testing.T) {
	t.Chdir("../..")
	content, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	const marker = "a test keeps it true -->\n```\n"
	readme, made := string(content), ""
	for _, s := range shown {
		before, block, found := strings.Cut(readme, marker)
		old, after, closed := strings.Cut(block, "```")
		if !found || !closed {
			t.Fatalf("the README's output block of %s is gone", s.command)
		}
		picture := filepath.Join(t.TempDir(), s.picture)
		var out, faults bytes.Buffer
		status := cli.Run(context.Background(), []string{s.command, s.folder + "/run.toml", s.folder + "/readings.csv", "--picture", picture},
			strings.NewReader(""), &out, &faults)
		if status != cli.Fails {
			t.Fatalf("status %d: %s", status, faults.String())
		}
		drawn, err := os.ReadFile(picture)
		if err != nil {
			t.Fatal(err)
		}
		showtest.Picture(t, filepath.Join(s.folder, s.picture), drawn)
		now := out.String()
		if begin, cut := strings.CutSuffix(old, "…\n"); cut {
			now = beginning(now, strings.Count(begin, "\n"))
		}
		if now != old && !showtest.Update() {
			t.Errorf("%s prints\n%s\nthe README shows\n%s", s.command, now, old)
		}
		made += before + marker + now + "```"
		readme = after
	}
	if showtest.Update() {
		if err := os.WriteFile("README.md", []byte(made+readme), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// beginning returns the first lines of a text, and that there are more.
func beginning(text string, lines int) string {
	at := 0
	for range lines {
		at += strings.Index(text[at:], "\n") + 1
	}
	return text[:at] + "…\n"
}
