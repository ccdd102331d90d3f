package csv_test

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
)

// However a file comes in, in one piece or byte by byte, and wherever its quotes are
// broken, each row is read once, is reported with its own line, and a broken one costs
// nothing but itself. What is expected is counted while the file is made.
func TestRowsComeInPieces(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	for range 60 {
		var b strings.Builder
		b.WriteString(head)
		var good, bad []int
		line := 1
		for range random.IntN(400) {
			line++
			switch random.IntN(12) {
			case 0:
				b.WriteString("\n")
			case 1:
				b.WriteString(row("step", `white "5"`))
				bad = append(bad, line)
			case 2:
				b.WriteString("2026-03-01T19:30:00+01:00,dark\n")
				bad = append(bad, line)
			default:
				b.WriteString(row("value", "0."+strconv.Itoa(line)+"5"))
				good = append(good, line)
			}
		}
		text := b.String()
		for _, src := range []io.Reader{strings.NewReader(text), iotest.OneByteReader(strings.NewReader(text)), iotest.DataErrReader(strings.NewReader(text))} {
			rows, err := csv.Scan("r.csv", src, cornice)
			if err != nil {
				t.Fatal(err)
			}
			var got []int
			for x, err := range rows.Good() {
				if err != nil {
					t.Fatal(err)
				}
				if x.Text != fmt.Sprintf("0.%d5", x.Row) {
					t.Fatalf("line %d holds %s", x.Row, x.Text)
				}
				got = append(got, x.Row)
			}
			var wrong []int
			for _, f := range rows.Bad {
				wrong = append(wrong, f.Line)
			}
			if !slices.Equal(got, good) || !slices.Equal(wrong, bad) || rows.BadRows != len(bad) {
				t.Fatalf("good %v, want %v; bad %v, want %v in\n%s", got, good, wrong, bad, text)
			}
		}
	}
}

// A quote that is never closed spoils its line; the rows behind it are read again.
func TestRowsBehindAnOpenQuote(t *testing.T) {
	text := head + row() + row("step", `"white`) + strings.Repeat(row("value", "5"), 3000) + row("step", `"white`) + row("value", "6")
	rows, err := csv.Scan("r.csv", iotest.HalfReader(strings.NewReader(text)), cornice)
	if err != nil {
		t.Fatal(err)
	}
	last := reading.Reading{}
	n := 0
	for x, err := range rows.Good() {
		if err != nil {
			t.Fatal(err)
		}
		last = x
		n++
	}
	if n+len(rows.Repeats) != 3002 || last.Text != "6" || last.Row != 3005 || len(rows.Bad) != 2 || rows.Bad[1].Line != 3004 {
		t.Errorf("%d good and %d repeated rows, the last %s in line %d; %v", n, len(rows.Repeats), last.Text, last.Row, rows.Bad)
	}
}

// An error of the file is reported as the file's, and what was read before it stands.
func TestRowsOfAFileThatEnds(t *testing.T) {
	broken := errors.New("the card was pulled")
	rows, err := csv.Scan("r.csv", io.MultiReader(strings.NewReader(head+row()), iotest.ErrReader(broken)), cornice)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for x, err := range rows.Good() {
		if err != nil {
			got = append(got, err.Error())
			break
		}
		got = append(got, x.Text)
	}
	if want := []string{"4.812", "r.csv: the card was pulled"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if _, err := csv.Scan("r.csv", iotest.ErrReader(broken), cornice); !errors.Is(err, broken) {
		t.Errorf("without a header: %v", err)
	}
}
