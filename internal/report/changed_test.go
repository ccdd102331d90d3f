package report

import (
	"bytes"
	"flag"
	"fmt"
	"html"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
	"unicode/utf16"
)

// change changes a page in one of many ways; a page that it returns unchanged does not count.
type change struct {
	what string
	of   func(page string, rng *rand.Rand) string
}

// swapParts swaps two matches of a pattern.
func swapParts(pattern string) func(string, *rand.Rand) string {
	parts := regexp.MustCompile(pattern)
	return func(page string, rng *rand.Rand) string {
		all := parts.FindAllStringIndex(page, -1)
		i := rng.IntN(len(all) - 1)
		j := i + 1 + rng.IntN(len(all)-i-1)
		a, b := all[i], all[j]
		return page[:a[0]] + page[b[0]:b[1]] + page[a[1]:b[0]] + page[a[0]:a[1]] + page[b[1]:]
	}
}

// replaceOne replaces one match of a pattern.
func replaceOne(pattern string, with func(match string, rng *rand.Rand) string) func(string, *rand.Rand) string {
	parts := regexp.MustCompile(pattern)
	return func(page string, rng *rand.Rand) string {
		all := parts.FindAllStringIndex(page, -1)
		at := all[rng.IntN(len(all))]
		return page[:at[0]] + with(page[at[0]:at[1]], rng) + page[at[1]:]
	}
}

// always returns a function that returns one text.
func always(text string) func(string, *rand.Rand) string {
	return func(string, *rand.Rand) string { return text }
}

// bigEndian16 returns a text in UTF-16 with its byte order mark.
func bigEndian16(text string) string {
	var b strings.Builder
	for _, unit := range append([]uint16{0xfeff}, utf16.Encode([]rune(text))...) {
		b.Write([]byte{byte(unit >> 8), byte(unit)})
	}
	return b.String()
}

// changes are the ways in which pages are changed, other than by single digits.
var changes = []change{
	{"lines swapped", swapParts(`(?m)^.+\n`)},
	{"neighbouring lines swapped", func(page string, rng *rand.Rand) string {
		lines := strings.SplitAfter(page, "\n")
		i := rng.IntN(len(lines) - 1)
		lines[i], lines[i+1] = lines[i+1], lines[i]
		return strings.Join(lines, "")
	}},
	{"cells swapped", swapParts(`<td[^>]*>[^<]+</td>`)},
	{"rows swapped", swapParts(`<tr>.*?</tr>`)},
	{"sections swapped", swapParts(`(?s)<h2>.*?</h2>[^<]*<p>.*?</p>`)},
	{"a piece cut", func(page string, rng *rand.Rand) string {
		at, n := rng.IntN(len(page)-2000), 1+rng.IntN(2000)
		return page[:at] + page[at+n:]
	}},
	{"a piece twice", func(page string, rng *rand.Rand) string {
		at, n := rng.IntN(len(page)-2000), 1+rng.IntN(2000)
		return page[:at+n] + page[at:]
	}},
	{"the end cut", func(page string, rng *rand.Rand) string { return page[:len(page)-1-rng.IntN(len(page)/2)] }},
	{"something after the end", func(page string, rng *rand.Rand) string {
		return page + []string{"\n", " ", "<p>PASS</p>", "\x00"}[rng.IntN(4)]
	}},
	{"a row left out", replaceOne(`<tr>.*?</tr>\n`, always(""))},
	{"a row in a comment", replaceOne(`<tr>.*?</tr>\n`, func(m string, _ *rand.Rand) string { return "<!-- " + m + " -->" })},
	{"a row hidden", replaceOne(`<tr>`, always("<tr hidden>"))},
	{"a style that hides", replaceOne(`</style>`, always(".fail { display: none }\n</style>"))},
	{"a style more", replaceOne(`</head>`, always("<style>.fail { color: green }</style></head>"))},
	{"a script", replaceOne(`</body>`, always("<script>document.querySelector('.fail').remove()</script></body>"))},
	{"another policy", replaceOne(`default-src 'none'`, always("default-src *"))},
	{"another verdict", replaceOne(`(?i)\bfail\b`, always("pass"))},
	{"another name", replaceOne(`left-right`, always("right-left"))},
	{"digits swapped", replaceOne(`[0-9]{2}`, func(m string, _ *rand.Rand) string { return m[1:] + m[:1] })},
	{"a digit less", replaceOne(`[0-9]{2}`, func(m string, _ *rand.Rand) string { return m[:1] })},
	{"a zero more", replaceOne(`[0-9]\.[0-9]+`, func(m string, _ *rand.Rand) string { return m + "0" })},
	{"a decimal comma", replaceOne(`[0-9]\.[0-9]`, func(m string, _ *rand.Rand) string { return strings.Replace(m, ".", ",", 1) })},
	{"a sign", replaceOne(`[0-9]+\.`, func(m string, _ *rand.Rand) string { return "-" + m })},
	{"a unit", replaceOne(`mΩ`, always("Ω"))},
	{"digits of another script", replaceOne(`[0-9]`, func(m string, _ *rand.Rand) string { return string('０' + rune(m[0]-'0')) })},
	{"a letter as its number", replaceOne(`>[A-Za-z0-9]`, func(m string, _ *rand.Rand) string { return fmt.Sprintf(">&#%d;", m[1]) })},
	{"a mark unescaped", replaceOne(`&(lt|gt|amp|#34|#39);`, func(m string, _ *rand.Rand) string { return html.UnescapeString(m) })},
	{"a sign of the same look", replaceOne(`Ω`, always("\u2126"))},
	{"a blank of the same look", replaceOne(`[a-z] [a-z]`, func(m string, _ *rand.Rand) string { return m[:1] + "\u00a0" + m[2:] })},
	{"in UTF-16", func(page string, _ *rand.Rand) string { return bigEndian16(page) }},
	{"in Latin-1", func(page string, _ *rand.Rand) string {
		var b bytes.Buffer
		for _, r := range page {
			b.WriteByte(byte(min(r, 0xff)))
		}
		return b.String()
	}},
	{"Latin-1 taken for UTF-8", func(page string, _ *rand.Rand) string {
		var b strings.Builder
		for _, c := range []byte(page) {
			b.WriteRune(rune(c))
		}
		return b.String()
	}},
	{"line ends CR LF", func(page string, _ *rand.Rand) string { return strings.ReplaceAll(page, "\n", "\r\n") }},
	{"some line ends CR LF", replaceOne(`\n`, always("\r\n"))},
	{"a byte order mark", func(page string, _ *rand.Rand) string { return "\ufeff" + page }},
	{"two byte order marks", func(page string, _ *rand.Rand) string { return "\ufeff\ufeff" + page }},
	{"line ends CR", func(page string, _ *rand.Rand) string { return strings.ReplaceAll(page, "\n", "\r") }},
	{"a line end CR", replaceOne(`\n`, always("\r"))},
	{"a line end CR CR LF", replaceOne(`\n`, always("\r\r\n"))},
	{"lines joined", replaceOne(`\n`, always(""))},
	{"lines joined by a blank", replaceOne(`\n`, always(" "))},
	{"an empty line", replaceOne(`\n`, always("\n\n"))},
	{"a blank at a line's end", replaceOne(`\n`, always(" \n"))},
	{"indented", func(page string, _ *rand.Rand) string { return strings.ReplaceAll(page, "\n<", "\n  <") }},
	{"two blanks", replaceOne(` `, always("  "))},
	{"a tab", replaceOne(` `, always("\t"))},
	{"no end of the last line", func(page string, _ *rand.Rand) string { return strings.TrimSuffix(page, "\n") }},
	{"a tag in capitals", replaceOne(`</?(td|tr|p|b|li)>`, func(m string, _ *rand.Rand) string { return strings.ToUpper(m) })},
	{"other quotes", replaceOne(`class="[a-z]+"`, func(m string, _ *rand.Rand) string { return strings.ReplaceAll(m, `"`, "'") })},
	{"a tag's order", replaceOne(`<td class="n" data-is="[^"]*">`, func(m string, _ *rand.Rand) string {
		return regexp.MustCompile(`(class="n") (data-is="[^"]*")`).ReplaceAllString(m, "$2 $1")
	})},
	{"a comment", replaceOne(`<h2>`, always("<!-- --><h2>"))},
	{"another sum", replaceOne(`[0-9a-f]{64}`, func(m string, _ *rand.Rand) string { return m[32:] + m[:32] })},
	{"a sum in capitals", replaceOne(`[0-9a-f]{64}`, func(m string, _ *rand.Rand) string { return strings.ToUpper(m) })},
}

// harmless reports whether a changed page is the same to every reader: HTML takes CR LF for LF, and a byte order mark
// for no part of the text (HTML Living Standard, 13.2.3.5, and Encoding Standard, 6, both from memory).
func harmless(changed, page string) bool {
	return strings.ReplaceAll(strings.TrimPrefix(changed, "\ufeff"), "\r\n", "\n") == page
}

var everyChange = flag.Int("changes", 0, "how often a report is changed in each of many ways; 0 = once in every third way")

// Whatever was changed, it is found or harmless; that holds for reports of another version too.
func TestEveryChangeIsFound(t *testing.T) {
	page := written(t, spoilt(t))
	rng := rand.New(rand.NewPCG(15, 200)) // any would do; these make the test repeatable
	again := remembering()
	if v, err := verify("r.html", []byte(page), program, again); err != nil || len(v.Faults) > 0 {
		t.Fatal(v, err)
	}
	tried, found, same := 0, 0, 0
	for i, c := range changes {
		times := *everyChange
		if times == 0 && i%3 == 0 {
			times = 1
		}
		for range times {
			changed := c.of(page, rng)
			if changed == page {
				continue // equal parts were swapped
			}
			tried++
			for _, by := range []string{program, "2.0.0, linux/arm64"} {
				v, err := verify("r.html", []byte(changed), by, again)
				isFound := err != nil || len(v.Faults) > 0
				switch {
				case harmless(changed, page) && isFound:
					t.Errorf("%s, by %s: is harmless, and found: %v %v", c.what, by, v, err)
				case harmless(changed, page):
					same++
				case !isFound:
					t.Errorf("%s, by %s: is not found", c.what, by)
				default:
					found++
				}
			}
		}
	}
	t.Logf("%d changes of %d kinds, each verified by two versions: %d found, %d harmless", tried, len(changes), found, same)
	if tried < max(13, 40**everyChange) || same == 0 {
		t.Errorf("%d changes, %d harmless", tried, same)
	}
}

// A build that does not know its version compares a report of another one by its numbers, verdicts and names, if the
// report is as it was made; what was changed after that is found by every byte.
func TestBuildsOfTheSameVersion(t *testing.T) {
	in := spoilt(t)
	for name, one := range map[string]bool{"1.2.3, linux/amd64": true, "v1.2.3": true, "(devel), commit 0123456789ab of 2026-11-30, go1.26.0": true,
		"": false, "(devel), go1.26.0, linux/amd64": false, "(devel), commit 0123456789ab of 2026-11-30 with changes": false, "v0.0.0-20261130-0123456789ab+dirty": false} {
		if identifies(name) != one {
			t.Errorf("%q identifies a build: %v", name, !one)
		}
	}
	in.Program = "(devel), go1.26.0, linux/amd64"
	page := written(t, in)
	again := remembering()
	if v, err := verify("r.html", []byte(page), in.Program, again); err != nil || len(v.Faults) > 0 || v.Other {
		t.Errorf("its own: %+v, %v", v, err)
	}
	older := strings.Replace(page, "What to do", "What is to do", 1)
	if v, err := verify("r.html", []byte(resummed(older)), in.Program, again); err != nil || len(v.Faults) > 0 || !v.Other {
		t.Errorf("one of an older build: %+v, %v", v, err)
	}
	if v, err := verify("r.html", []byte(older), in.Program, again); err != nil || len(v.Faults) == 0 || v.Other {
		t.Errorf("a changed one: %+v, %v", v, err)
	}
	name := strings.Replace(page, `<td class="what">joint left-right`, `<td class="what">joint some-other`, 1)
	if v, err := verify("r.html", []byte(resummed(name)), in.Program, again); err != nil || len(v.Faults) != 1 || !strings.Contains(v.Faults[0], "says joint some-other") {
		t.Errorf("another name: %+v, %v", v, err)
	}
	hidden := regexp.MustCompile(`(<tr><td class="fail">.*?</tr>\n)`).ReplaceAllString(page, "<!-- $1 -->")
	if v, err := verify("r.html", []byte(resummed(hidden)), in.Program, again); err != nil || len(v.Faults) == 0 {
		t.Errorf("a row in a comment: %+v, %v", v, err)
	}
}
