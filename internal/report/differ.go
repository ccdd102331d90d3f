package report

import (
	"bytes"
	"cmp"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"
)

// maxFaults is how many differences are listed one by one.
const maxFaults = 20

// difference is a place where a page is not the one that follows.
type difference struct {
	kind differenceKind
	text string
}

// differenceKind is what a difference is of, the gravest first.
type differenceKind int

const (
	ofWords   differenceKind = iota // of numbers, words and tags
	ofDrawing                       // of a picture whose words are the same: it follows from its numbers
	ofSum                           // of the page's sum, which differs wherever something else does
)

// piece is a part of a page: a tag, or the text between two.
type piece struct {
	text    string
	tag     bool
	picture bool
	line    int    // of the page, from 1
	section string // the heading above it
	row     string // what its row of a table is about; "" where that is not known
	label   bool   // it is that of its row
}

var (
	tagPattern     = regexp.MustCompile(`(?s)<!--.*?-->|<[^>]*>`) // what is in a comment is not shown
	numberPattern  = regexp.MustCompile(`[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?`)
	headingPattern = regexp.MustCompile(`^<(h1|h2|h3|summary|title)\b`)
)

// pieces takes a page apart.
func pieces(text []byte) (list []piece) {
	line, section, row, at := 1, "the head of the page", "", 0
	inPicture, inHeading, inLabel := false, false, false
	add := func(part []byte, tag bool) {
		trimmed := strings.TrimSpace(string(part))
		if trimmed != "" {
			list = append(list, piece{trimmed, tag, inPicture, line + bytes.Count(part[:bytes.Index(part, []byte(trimmed[:1]))], []byte("\n")), section, row, inLabel && !tag})
		}
		line += bytes.Count(part, []byte("\n"))
	}
	for _, m := range tagPattern.FindAllIndex(text, -1) {
		if inHeading {
			section = html.UnescapeString(strings.TrimSpace(string(text[at:m[0]])))
		}
		add(text[at:m[0]], false)
		if inLabel {
			row = html.UnescapeString(strings.TrimSpace(string(text[at:m[0]])))
		}
		tag := text[m[0]:m[1]]
		inHeading, inLabel = headingPattern.Match(tag), bytes.Equal(tag, []byte(`<td class="what">`))
		if bytes.HasPrefix(tag, []byte("<tr")) || bytes.HasPrefix(tag, []byte("</table")) {
			row = ""
		}
		inPicture = inPicture || bytes.HasPrefix(tag, []byte("<svg"))
		add(tag, true)
		inPicture = inPicture && !bytes.HasPrefix(tag, []byte("</svg"))
		at = m[1]
	}
	add(text[at:], false)
	return list
}

// differences returns in words where a page is not the one that follows. With numbersOnly words,
// tags and pictures may differ.
func differences(page, follows []byte, numbersOnly bool) []string {
	if !numbersOnly && bytes.Equal(page, follows) {
		return nil
	}
	is, should := pieces(page), pieces(follows)
	if numbersOnly {
		return numberDifferences(is, should)
	}
	var faults []difference
	for len(is) > 0 && len(should) > 0 {
		a, b := is[0], should[0]
		if a.text == b.text {
			is, should = is[1:], should[1:]
			continue
		}
		// The next place from which both go on alike; a changed digit changes one piece.
		i, j := meet(is, should)
		faults = append(faults, describe(is[:i], should[:j], a))
		is, should = is[i:], should[j:]
	}
	if len(is)+len(should) > 0 {
		faults = append(faults, difference{text: "the end of the page is not what follows"})
	}
	if len(faults) == 0 { // blanks or line ends between tags
		faults = []difference{{text: "the blanks between the page's parts are not what follows"}}
	}
	return texts(faults)
}

// texts returns the first differences in words, the gravest kind first, and how many more there are. The sum
// is named only where nothing else differs.
func texts(faults []difference) (list []string) {
	slices.SortStableFunc(faults, func(a, b difference) int { return cmp.Compare(a.kind, b.kind) })
	if last := len(faults) - 1; last > 0 && faults[last].kind == ofSum {
		faults = faults[:last]
	}
	for _, f := range faults[:min(len(faults), maxFaults)] {
		list = append(list, f.text)
	}
	if n := len(faults); n > maxFaults {
		list = append(list, fmt.Sprintf("and %d more", n-maxFaults))
	}
	return list
}

// meet returns how many pieces to skip in each of two lists so that they go on alike for three
// pieces; all of them if they never do.
func meet(a, b []piece) (i, j int) {
	alike := func(i, j int) bool {
		for k := range 3 {
			if i+k >= len(a) || j+k >= len(b) {
				return i+k >= len(a) && j+k >= len(b)
			}
			if a[i+k].text != b[j+k].text {
				return false
			}
		}
		return true
	}
	const farthest = 400 // pieces; a table's row has about 20
	for sum := 1; sum <= farthest; sum++ {
		if sum%2 == 0 && sum/2 < len(a) && sum/2 < len(b) && alike(sum/2, sum/2) { // as many on both sides first
			return sum / 2, sum / 2
		}
		for i := max(0, sum-len(b)); i <= min(sum, len(a)); i++ {
			if alike(i, sum-i) {
				return i, sum - i
			}
		}
	}
	return len(a), len(b)
}

// wrongSum is the fault of a page of which all but the sum follows.
const wrongSum = "the sum in the last line is not that of the page: every number follows from what is inside, but the page was changed after it was made"

func isSum(p piece) bool { return len(p.text) == len(noSum) && !p.tag }

// describe returns what a page says and what follows.
func describe(is, should []piece, at piece) difference {
	text := fmt.Sprintf("line %d, %s: ", at.line, at.section)
	if at.row != "" {
		text += at.row + ": "
	}
	switch {
	case isSum(at):
		return difference{ofSum, wrongSum}
	case at.picture:
		if a, b := apart(words(is), words(should)); a != b {
			return difference{ofWords, text + fmt.Sprintf("the picture says %q, and %q follows", a, b)}
		}
		return difference{ofDrawing, text + "the picture is drawn otherwise than follows"}
	}
	a, b := apart(words(is), words(should))
	switch {
	case a == b:
		text += "the page is built otherwise than follows"
	case b == "":
		text += fmt.Sprintf("says %q, which does not follow", a)
	case a == "":
		text += fmt.Sprintf("%q follows and is not there", b)
	default:
		text += fmt.Sprintf("says %q, and %q follows", a, b)
	}
	return difference{ofWords, text}
}

// words returns the text of pieces without tags, cut to a line.
func words(list []piece) string {
	var texts []string
	for _, p := range list {
		if !p.tag {
			texts = append(texts, html.UnescapeString(p.text))
		}
	}
	return strings.Join(strings.Fields(strings.Join(texts, " ")), " ")
}

// apart cuts two texts to a few words about the first place where they differ.
func apart(a, b string) (cutA, cutB string) {
	const before, length = 30, 80 // letters
	x, y := []rune(a), []rune(b)
	same := 0
	for same < len(x) && same < len(y) && x[same] == y[same] {
		same++
	}
	cut := func(r []rune) string {
		from, to := 0, len(r)
		if len(r) > length {
			from = max(0, same-before)
			to = min(len(r), from+length)
		}
		text := string(r[from:to])
		if from > 0 {
			text = "…" + text
		}
		if to < len(r) {
			text += "…"
		}
		return text
	}
	return cut(x), cut(y)
}
