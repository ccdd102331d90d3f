package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"ohmkeep/internal/command"
)

// The README shows what its commissioning prints.
func TestReadmeShowsWhatAssessPrints(t *testing.T) {
	t.Chdir("../..")
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, shown, found := strings.Cut(string(readme), "a test keeps it true -->\n```\n")
	shown, _, closed := strings.Cut(shown, "```")
	if !found || !closed {
		t.Fatal("the README's output block is gone")
	}
	var out, faults bytes.Buffer
	status := command.Run(context.Background(), []string{"assess", "testdata/commissioning/run.toml",
		"testdata/commissioning/readings.csv"}, strings.NewReader(""), &out, &faults)
	if status != command.Fails || faults.Len() > 0 {
		t.Fatalf("status %d: %s", status, faults.String())
	}
	if out.String() != shown {
		t.Errorf("assess prints\n%s\nthe README shows\n%s", out.String(), shown)
	}
}
