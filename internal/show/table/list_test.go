package table

import (
	"strings"
	"testing"

	"ohmkeep/internal/show/showtest"
)

// A list is a line an item where it is not shown on a terminal, and fits its width where it is.
func TestList(t *testing.T) {
	items := []Item{{"", "Reading room cornice, watched for 4.9 s by a board with two sensors"}, {"  near     current     near                             ", "0.4051 A, 0.1 s ago"},
		{"plain-lines        lines   115200 baud  ", "Board that prints ID,VALUE,UNIT"}, {"2026-03-01T00:00:20Z  note                ", "re-made joint 1"}}
	var plain strings.Builder
	if err := List(&plain, items, Style{}); err != nil {
		t.Fatal(err)
	}
	want := ""
	for _, x := range items {
		want += x.Head + x.Text + "\n"
	}
	if plain.String() != want {
		t.Errorf("printed\n%s\nwant\n%s", plain.String(), want)
	}
	for columns := 40; columns <= 200; columns++ {
		var b strings.Builder
		if err := List(&b, items, Style{Columns: columns}); err != nil {
			t.Fatal(err)
		}
		showtest.Fits(t, b.String(), columns)
		words := func(s string) string { return strings.Join(strings.Fields(s), " ") }
		if words(b.String()) != words(want) {
			t.Errorf("at %d columns\n%s", columns, b.String())
		}
	}
	if err := List(showtest.Broken{}, items, Style{}); err == nil {
		t.Error("a broken writer")
	}
}
