package report

import (
	"fmt"
	"html"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// numberDifferences compares the numbers, the verdicts and what the rows of tables are about, of two pages, section
// by section, as far as both have it.
func numberDifferences(is, should []piece) []string {
	var faults []difference
	have, order := numbersBySection(is)
	want, _ := numbersBySection(should)
	for _, section := range order {
		b, known := want[section]
		if !known {
			continue
		}
		faults = append(faults, sectionDifferences(section, have[section], b)...)
	}
	return texts(faults)
}

// sectionDifferences compares the numerals of a section. Where one is left out or added, all after it differ, so that
// the first difference alone is named.
func sectionDifferences(section string, is, follow []numeral) (faults []difference) {
	for i := range min(len(is), len(follow)) {
		if a, b := is[i], follow[i]; !near(a.text, b.text) {
			faults = append(faults, difference{text: fmt.Sprintf("line %d, %s: says %s in %q, and %s follows", a.in.line, section, a.text, firstWords(a.in), b.text)})
		}
	}
	if len(is) == len(follow) {
		return faults
	}
	return append([]difference{{text: fmt.Sprintf("%s: there are %d numbers, verdicts and names, and %d follow", section, len(is), len(follow))}}, faults[:min(len(faults), 1)]...)
}

func firstWords(p piece) string {
	text, _ := apart(words([]piece{p}), "")
	return text
}

// numeral is a number, the word of a verdict that stands by itself, or what a row is about.
type numeral struct {
	text string
	in   piece
}

// verdictPattern matches a cell or a heading that is the word of a verdict.
var verdictPattern = regexp.MustCompile(`^(?i:pass|fail|unproven|doubtful)$`)

// numbersBySection returns the numbers and verdicts outside of tags and pictures, and the sections in their
// order.
func numbersBySection(list []piece) (numbers map[string][]numeral, order []string) {
	numbers = map[string][]numeral{}
	for _, p := range list {
		if p.tag || p.picture || isSum(p) || strings.HasPrefix(p.text, "Made by ohmkeep") || strings.HasPrefix(p.text, ":root") {
			continue
		}
		if _, seen := numbers[p.section]; !seen {
			order = append(order, p.section)
		}
		list := numbers[p.section]
		for _, text := range numberPattern.FindAllString(html.UnescapeString(p.text), -1) {
			list = append(list, numeral{text, p})
		}
		if verdictPattern.MatchString(p.text) || p.label {
			list = append(list, numeral{p.text, p})
		}
		numbers[p.section] = list
	}
	return numbers, order
}

// near reports whether two numbers with as many decimals differ by no more than one in the last:
// another processor may round a value the other way that lies between two.
func near(a, b string) bool {
	x, errA := strconv.ParseFloat(a, 64)
	y, errB := strconv.ParseFloat(b, 64)
	if errA != nil || errB != nil {
		return a == b
	}
	_, decimals, _ := strings.Cut(a, ".")
	_, others, _ := strings.Cut(b, ".")
	return a == b || len(decimals) == len(others) && len(decimals) > 0 && math.Abs(x-y) <= 1.000001*math.Pow10(-len(decimals))
}
