package showtest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Readme returns the README, to be read before a test leaves its folder.
func Readme(t testing.TB) *ReadmeText {
	t.Helper()
	path, err := filepath.Abs(filepath.Join(Root(t), "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	return &ReadmeText{path}
}

// ReadmeText is the README.
type ReadmeText struct{ path string }

// Shows checks that the README shows a text in the block that is marked with a name; a
// block that ends with "…" shows the beginning. With -update the block is written again.
func (r *ReadmeText) Shows(t *testing.T, name, text string) {
	t.Helper()
	content, err := os.ReadFile(r.path)
	if err != nil {
		t.Fatal(err)
	}
	marker := "<!-- " + name + "; a test keeps it true -->\n```\n"
	before, block, found := strings.Cut(string(content), marker)
	old, after, closed := strings.Cut(block, "```\n")
	if !found || !closed {
		t.Fatalf("the README has no block %q", name)
	}
	if begin, cut := strings.CutSuffix(old, "…\n"); cut {
		text = beginning(text, strings.Count(begin, "\n"))
	}
	switch {
	case text == old:
	case *update:
		if err := os.WriteFile(r.path, []byte(before+marker+text+"```\n"+after), 0o644); err != nil {
			t.Fatal(err)
		}
	default:
		t.Errorf("the program prints\n%s\nthe README shows\n%s", text, old)
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
