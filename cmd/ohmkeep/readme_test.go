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

// The README shows what its commands print and draw. With -update the blocks and the
// pictures are written again.
func TestReadmeShowsWhatCommandsPrint(t *testing.T) {
	readme := showtest.Readme(t)
	t.Chdir("../..")
	for _, s := range shown {
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
		readme.Shows(t, "printed by "+s.command, out.String())
	}
}
