package cli

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/calibrationtest"
)

// A report is verified by its own text alone; a changed one is not, and what is no report is refused.
func TestVerify(t *testing.T) {
	s := newSession(t)
	s.walk(90, everything)
	s.do(`ohmkeep assess shelf.toml readings.csv --report shelf.html`).exits(Fails)
	page := s.content("shelf.html")
	s.clear("*")
	s.write("shelf.html", page)
	s.do(`ohmkeep verify shelf.html`).exits(Passes).prints("shelf.html: every number follows from the run file and the readings inside\n")
	value := regexp.MustCompile(`<td class="n">[0-9.]+ mΩ`).FindString(page)
	s.write("changed.html", strings.Replace(page, value, `<td class="n">3.00 mΩ`, 1))
	s.do(`ohmkeep verify changed.html`).exits(Fails).prints("changed.html: line ", `says "3.00 mΩ", and "`, "changed.html: not everything follows")
	s.write("other.html", strings.ReplaceAll(page, version(), "0.0.1"))
	s.do(`ohmkeep verify other.html`).exits(Fails).prints("made by ohmkeep 0.0.1, not by this one", "the sum in the last line")
	s.write("none.html", "<!DOCTYPE html>")
	s.do(`ohmkeep verify none.html`).refused("none.html: is no report that holds its run file and readings (ohmkeep assess --report makes one)")
	s.do(`ohmkeep verify missing.html`).refused("missing.html: no such file")
	s.do(`ohmkeep verify`).refused("wants REPORT")
}

// What a spreadsheet made of the readings, with local times and lines left out, becomes a report that
// follows on any machine: it holds what was read in the form of this program.
func TestVerifyOfSpreadsheet(t *testing.T) {
	s := newSession(t)
	s.walk(3, everything)
	lines := strings.ReplaceAll(s.content("readings.csv"), ",", ";")
	lines = regexp.MustCompile(`(\d{4})-(\d\d)-(\d\d)T(\d\d:\d\d:\d\d)[^;]*`).ReplaceAllString(lines, "$3.$2.$1 $4")
	s.write("sheet.csv", strings.Replace(lines, "\n", "\n;;;;;;;\n;;;;;;;\n", 1))
	s.do(`ohmkeep assess shelf.toml sheet.csv --skip-bad --report shelf.html`).exits(Passes)
	here := time.Local
	defer func() { time.Local = here }()
	time.Local = time.FixedZone("AWAY", 11*3600)
	s.do(`ohmkeep verify shelf.html`).exits(Passes)
}

// A store's report shows the run before and after a noted repair.
func TestReportOfRepairs(t *testing.T) {
	s := newParallelSession(t)
	s.walk(90, everything)
	s.do(`ohmkeep import shelf.toml readings.csv --store shelf.db`).exits(Passes)
	s.do(`ohmkeep note shelf.toml "re-made joint 1" --store shelf.db --at 2026-03-02T12:00:00Z`).exits(Passes)
	s.do(`ohmkeep note shelf.toml "new feed near" --store shelf.db --at 2026-03-02T12:30:00Z`).exits(Passes)
	s.do(`ohmkeep note shelf.toml "new feed near" --store shelf.db --withdraw`).exits(Passes)
	later := s.simulated(runtest.Parse(t, shelf), func(p *calibrationtest.Plant) { p.Joints[0] = ladder.Rails{Plus: 0.001, Minus: 0.001} }, everything)
	s.write("later.csv", strings.ReplaceAll(later, "2026-03-01T", "2026-03-03T"))
	s.do(`ohmkeep import shelf.toml later.csv --store shelf.db`).exits(Passes)
	o := s.do(`ohmkeep assess shelf.toml --store shelf.db --report shelf.html`)
	o.says(`readings were taken before the repair "re-made joint 1"; --since 2026-03-02T12:00:00Z leaves them out`)
	page := s.content("shelf.html")
	_, part, found := strings.Cut(page, "Before and after each repair")
	part, _, _ = strings.Cut(part, "<h2>")
	if !found || !strings.Contains(part, "2 March 2026: re-made joint 1") || strings.Contains(part, "new feed") || !strings.Contains(part, "were taken before the repair of 2 March 2026") ||
		!regexp.MustCompile(`joint left-right</td>.*[89][0-9]\.[0-9] mΩ.*fail.*pass`).MatchString(part) {
		t.Errorf("%v: %s", found, part)
	}
	s.do(`ohmkeep verify shelf.html`).exits(Passes)
	o = s.do(`ohmkeep assess shelf.toml --store shelf.db --since 2026-03-02T12:00:00Z --report shelf.html`).exits(Passes)
	if page := s.content("shelf.html"); strings.Contains(o.faults+page, "before the repair of") || strings.Contains(o.faults, "leaves them out") || !strings.Contains(page, "Nothing was read before it.") {
		t.Errorf("since the repair: %s", o.faults)
	}
}

// Of many readings of a place a report of a store holds the means, to the last bit, and one of a file
// the readings.
func TestReportOfMeans(t *testing.T) {
	s := newSession(t)
	s.walk(90, everything)
	head, lines, _ := strings.Cut(s.content("readings.csv"), "\n")
	var many strings.Builder
	many.WriteString(head + "\n")
	for second := range 40 {
		many.WriteString(regexp.MustCompile(`(T\d\d:\d\d:)\d\d`).ReplaceAllString(lines, fmt.Sprintf("${1}%02d", second)))
	}
	s.write("many.csv", many.String())
	s.do(`ohmkeep import shelf.toml many.csv --store shelf.db`).exits(Passes)
	for from, want := range map[string]string{"--store shelf.db": "repeated ones taken together as", "many.csv": "repeated ones taken together as"} {
		s.do(`ohmkeep assess shelf.toml ` + from + ` --report shelf.html`).exits(Fails)
		if page := s.content("shelf.html"); !strings.Contains(page, want) || strings.Contains(page, `data-part="means"`) != (from != "many.csv") {
			t.Errorf("%s: no %q, or no means", from, want)
		}
		s.do(`ohmkeep verify shelf.html`).exits(Passes)
	}
}
