package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/show/page"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/simulate/calibrationtest"
)

const program = "1.2.3, linux/amd64"

var made = time.Date(2031, 3, 4, 17, 5, 42, 999, time.FixedZone("", 3600))

// example returns the inputs of the example of a commissioning.
func example(t *testing.T) Input {
	t.Helper()
	folder := filepath.Join(showtest.Root(t), "testdata", "commissioning")
	text, err := os.ReadFile(filepath.Join(folder, "run.toml"))
	if err != nil {
		t.Fatal(err)
	}
	_, readings := showtest.Example(t, "commissioning")
	return Input{RunFile: text, Readings: readings, Made: made, Program: program}
}

func written(t *testing.T, in Input) string {
	t.Helper()
	p, err := Make(in, nil)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := p.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func verified(t *testing.T, page, program string) *Verification {
	t.Helper()
	v, err := Verify("r.html", []byte(page), program)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// remembering returns a function for verify that makes the first page and the newest one that it is asked for once.
func remembering() func(contents) ([]byte, error) {
	type made struct {
		of   contents
		page []byte
		err  error
	}
	var known []made
	return func(inside contents) ([]byte, error) {
		for _, m := range known {
			if reflect.DeepEqual(inside, m.of) {
				return bytes.Clone(m.page), m.err
			}
		}
		m := made{of: inside}
		p, err := compute(inside, nil)
		if m.err = err; err == nil {
			m.page, m.err = p.content()
		}
		known = append(known[:min(len(known), 1)], m)
		return bytes.Clone(m.page), m.err
	}
}

// follows wants a report from which everything follows, also after the ways in which a page is sent.
func follows(t *testing.T, what string, in Input) (page string) {
	t.Helper()
	page = written(t, in)
	again := remembering()
	for how, sent := range map[string]string{"": page, ", with CRLF": strings.ReplaceAll(page, "\n", "\r\n"), ", with a byte order mark": "\ufeff" + page} {
		v, err := verify("r.html", []byte(sent), in.Program, again)
		if err != nil {
			t.Fatal(err)
		}
		if len(v.Faults) > 0 || v.Other || v.Program != in.Program || !v.Made.Equal(in.Made.Truncate(time.Second)) {
			t.Errorf("%s%s: %+v", what, how, v)
		}
	}
	return page
}

// shelf is an invented run of two reels.
const shelf = `schema = 1 # an invented run
name = "Shelf <1> & more"
[installation]
for = "The owner's <hall>"
date = "2026-11-20"
[strip]
volts = 5.0
pixels_per_metre = 60
channel_milliamps = 12.0
idle_milliamps = 0.8
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
[[reel]]
name = "left"
metres = 1.5
[[reel]]
name = "right"
metres = 1.5
[[feed]]
name = "near"
from = "A"
to = "left.start"
metres = 1.2
conductor = "18 AWG"
[[step]]
name = "white 5 %"
red = 0.05
green = 0.05
blue = 0.05
[limits]
design_step = "white 5 %"
`

// walked returns simulated readings of the shelf with a joint of so many ohms.
func walked(t *testing.T, r *run.Run, ohms float64, at time.Time) []reading.Reading {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, 4)) // any would do; these make the test repeatable
	plant := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
	plant.Joints[0] = ladder.Rails{Plus: ohms / 2, Minus: ohms / 2}
	list, err := plant.Walk(survey.Thorough(r), rng, at)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// spoilt returns the inputs of a small report: the shelf with a bad joint.
func spoilt(t *testing.T) Input {
	t.Helper()
	return Input{RunFile: []byte(shelf), Readings: walked(t, runtest.Parse(t, shelf), 0.15, made), Made: made, Program: program}
}

func TestEverythingFollows(t *testing.T) {
	page := follows(t, "the example", example(t))
	for _, want := range []string{"What was installed", "How it was measured", "What load it carries", "joint west-north", "<details>", "schema = 1"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q", want)
		}
	}
	text := strings.ReplaceAll(shelf, "\n", "\r\n")
	r := runtest.Parse(t, text)
	in := Input{RunFile: []byte(text), Readings: walked(t, r, 0.05, made), Made: made, Program: program}
	page = follows(t, "a run file with CRLF and marks of HTML", in)
	if !strings.Contains(page, "The owner&#39;s &lt;hall&gt;") || !strings.Contains(page, "20 November 2026") {
		t.Error("no installation")
	}
	inside, err := open(plain([]byte(page)))
	if err != nil || inside.part(runFilePart) != text {
		t.Errorf("%v: the run file came out as %q", err, inside.part(runFilePart))
	}
	follows(t, "one reading", Input{RunFile: []byte(shelf), Readings: in.Readings[:1], Made: made, Program: program})
	follows(t, "an unnamed program", Input{RunFile: []byte(shelf), Readings: in.Readings, Made: made})
}

// A fit that was made before is used, if it is of the same readings with the same line numbers.
func TestKnownFit(t *testing.T) {
	in := spoilt(t)
	r := runtest.Parse(t, shelf)
	list := gathered(r, in.Readings)
	for i := range list {
		list[i].Row = i + 2
	}
	known, err := Fit(r, list)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Make(in, known)
	if err != nil || p.Assessment != known.Assessment {
		t.Errorf("%v: it was fitted again", err)
	}
	list[3].Row = 77
	if p, err = Make(in, known); err != nil || p.Assessment == known.Assessment || p.Assessment.Readings[3].Row != 5 {
		t.Errorf("%v: line 77 is not in the page", err)
	}
}

// A profile of the user's own brings the meter, and is inside.
func TestOwnProfile(t *testing.T) {
	shipped, err := os.ReadFile(filepath.Join(showtest.Root(t), "probes", "plain-lines.toml"))
	if err != nil {
		t.Fatal(err)
	}
	text := shelf + "[[probe]]\nname = \"board\"\nprofile = \"own/board.toml\"\nport = \"none\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n"
	r := runtest.Parse(t, shelf)
	in := Input{RunFile: []byte(text), Profiles: []Profile{{"own/board.toml", string(shipped)}}, Readings: walked(t, r, 0.05, made), Made: made, Program: program}
	follows(t, "a profile", in)
	in.Profiles = nil
	if _, err := Make(in, nil); err == nil || !strings.Contains(err.Error(), "own/board.toml: is not in the report") {
		t.Errorf("without it: %v", err)
	}
}

// Means of a store are kept to the last bit, and the run is shown before and after a repair.
func TestMeansAndRepairs(t *testing.T) {
	r := runtest.Parse(t, shelf)
	means := func(ohms float64, at time.Time) []reading.Reading {
		list := walked(t, r, ohms, at)
		for i := range list {
			list[i].Value += 1e-5 / 3
			list[i].Mean = &reading.Mean{Count: 40 + i, Scatter: 0.001 / 7, Independent: 10.0 / 3, First: list[i].Time.Add(-time.Minute), Last: list[i].Time}
		}
		return list
	}
	repaired := made.Add(-24 * time.Hour)
	before, after := means(0.15, repaired.Add(-time.Hour)), means(0.003, repaired.Add(time.Hour))
	in := Input{RunFile: []byte(shelf), Readings: after, Made: made, Program: program,
		Repairs: []Repair{{repaired, "re-made joint 1, \"well\""}, {made, "new feed near"}}, Stretches: [][]reading.Reading{before, after, nil}}
	page := follows(t, "means and repairs", in)
	at := strings.Index(page, "Before and after each repair")
	if at < 0 {
		t.Fatal("no repairs")
	}
	part := page[at:]
	for _, want := range []string{"3 March 2031: re-made joint 1, &#34;well&#34;", `<td class="what">joint left-right</td>`, `<td class="fail">fail</td>`, `<td class="pass">pass</td>`,
		"4 March 2031: new feed near", "Nothing was read after it: its effect is not proven."} {
		if !strings.Contains(part, want) {
			t.Errorf("no %q in %.3000s", want, part)
		}
	}
	inside, err := open([]byte(page))
	if err != nil {
		t.Fatal(err)
	}
	out, _, err := inside.unpack()
	if err != nil || len(out.Readings) != len(after) {
		t.Fatal(err)
	}
	for i, x := range out.Readings {
		if want := after[i]; x.Value != want.Value || x.Mean == nil || x.Mean.Count != want.Mean.Count || x.Mean.Scatter != want.Mean.Scatter ||
			x.Mean.Independent != want.Mean.Independent || !x.Mean.First.Equal(want.Mean.First) || !x.Mean.Last.Equal(want.Mean.Last) {
			t.Errorf("line %d: %+v %+v became %+v %+v", x.Row, want, want.Mean, x, x.Mean)
		}
	}
}

var everyDigit = flag.Int("digits", 15, "how many digits of a report are changed, one at a time; 0 = every one")

// A changed digit is found wherever it stands: in a table, a picture, a text inside, the date, the
// version, the sum or the page's own marks.
func TestEveryDigitCounts(t *testing.T) {
	page := written(t, spoilt(t))
	digits := regexp.MustCompile(`[0-9]`).FindAllStringIndex(page, -1)
	rng := rand.New(rand.NewPCG(5, 6)) // any would do; these make the test repeatable
	chosen := rng.Perm(len(digits))
	if n := *everyDigit; n > 0 {
		if testing.Short() {
			n = min(n, 10)
		}
		chosen = chosen[:n]
	}
	again := remembering() // what is inside is the same for most of them
	if v, err := verify("r.html", []byte(page), program, again); err != nil || len(v.Faults) > 0 {
		t.Fatal(v, err)
	}
	for _, i := range chosen {
		at := digits[i][0]
		changed := page[:at] + string('0'+(page[at]-'0'+1+byte(rng.IntN(9)))%10) + page[at+1:]
		v, err := verify("r.html", []byte(changed), program, again)
		if err == nil && len(v.Faults) == 0 {
			t.Errorf("a digit changed in %q is not found", page[max(0, at-30):min(len(page), at+30)])
		}
		if err != nil { // a mark of the page that says what it is
			t.Errorf("a digit changed in %q: %v", page[max(0, at-30):min(len(page), at+30)], err)
		}
	}
	t.Logf("%d of %d digits changed", len(chosen), len(digits))
}

// resummed puts the right sum into a page that was changed.
func resummed(page string) string {
	at := sumPattern.FindStringSubmatchIndex(page)
	page = page[:at[2]] + noSum + page[at[3]:]
	sum := sha256.Sum256([]byte(page))
	return page[:at[2]] + hex.EncodeToString(sum[:]) + page[at[3]:]
}

// What does not follow is named: where it stands, what it says and what follows.
func TestFaultsAreNamed(t *testing.T) {
	page := written(t, spoilt(t))
	replace := func(old, with string) string {
		if !strings.Contains(page, old) {
			t.Fatalf("the page has no %q", old)
		}
		return strings.Replace(page, old, with, 1)
	}
	again := remembering()
	if v := verified(t, page, program); len(v.Faults) > 0 {
		t.Fatal(v.Faults)
	}
	row := regexp.MustCompile(`<tr><td class="fail">fail</td><td class="what">joint left-right</td>.*</tr>\n`).FindString(page)
	value := regexp.MustCompile(`<td class="n">([0-9.]+) mΩ</td>`).FindStringSubmatch(row)[1]
	forged := replace(row, strings.Replace(row, value, "7.3", 1))
	for what, c := range map[string]struct {
		page  string
		wants []string
	}{
		"a value":                    {forged, []string{"Resistances: joint left-right: says \"7.3 mΩ\", and \"" + value + " mΩ\" follows"}},
		"a value, with another sum":  {resummed(forged), []string{"Resistances: joint left-right: says \"7.3 mΩ\", and \"" + value + " mΩ\" follows"}},
		"a verdict":                  {replace("<b>FAIL</b>", "<b>PASS</b>"), []string{`says "PASS", and "FAIL" follows`}},
		"a row left out":             {replace(row, ""), []string{"Resistances: ", "joint left-right", "follows and is not there"}},
		"a row more":                 {replace(row, row+row), []string{"Resistances: ", "which does not follow"}},
		"a label in a picture":       {regexp.MustCompile(`>([0-9]+)</text>`).ReplaceAllString(page, ">9$1</text>"), []string{"Pictures: the picture says "}},
		"a line in a picture":        {strings.Replace(page, `d="M 5`, `d="M 7`, 1), []string{"the picture is drawn otherwise than follows"}},
		"a comment in the run file":  {replace("# an invented run", "# a measured run"), []string{"the sum in the last line is not that of the page: every number follows"}},
		"the strip in the run file":  {replace("channel_milliamps = 12.0", "channel_milliamps = 13.0"), []string{"What load it carries: ", "Resistances: ", "and "}},
		"the run file, past reading": {replace("schema = 1", "schema = 7"), []string{"the run file inside:1: schema: 7 is not a form of run file known here"}},
		"the readings, past reading": {replace(",V,", ",Y,"), []string{"the readings inside:", `"Y"`}},
		"the date":                   {replace("made 4 March", "made 5 March"), []string{"made 5 March", "made 4 March", "follows"}},
		"both dates, the same":       {strings.Replace(replace("made 4 March", "made 5 March"), `"made" content="2031-03-04`, `"made" content="2031-03-05`, 1), []string{"the sum in the last line"}},
		"no date":                    {replace(`"made" content="2031-03-04`, `"made" content="2031-93-04`), []string{"the time at which it was made", "is none"}},
		"the version":                {strings.ReplaceAll(page, "1.2.3", "1.2.4"), []string{"the sum in the last line"}},
		"one version":                {replace("1.2.3", "1.2.4"), []string{"the sum in the last line"}},
		"the end":                    {strings.TrimSuffix(page, "</html>\n"), []string{"the end of the page is not what follows"}},
		"blanks":                     {replace("</header>", "</header>\n\n"), []string{"the blanks between the page's parts"}},
		"a tag":                      {replace("<b>FAIL</b>", "<i>FAIL</b>"), []string{"the page is built otherwise than follows"}},
	} {
		v, err := verify("r.html", []byte(c.page), program, again)
		if err != nil {
			t.Errorf("%s: %v", what, err)
			continue
		}
		all := strings.Join(v.Faults, "\n")
		for _, want := range c.wants {
			if !strings.Contains(all, want) {
				t.Errorf("%s: no %q in\n%s", what, want, all)
			}
		}
		if len(v.Faults) > maxFaults+1 {
			t.Errorf("%s: %d faults", what, len(v.Faults))
		}
	}
}

// A report of another version is compared by its numbers, and its sum still holds the page together.
func TestOtherVersion(t *testing.T) {
	page := written(t, spoilt(t))
	const newer = "2.0.0, linux/arm64"
	if v := verified(t, page, newer); len(v.Faults) > 0 || !v.Other {
		t.Errorf("%+v", v)
	}
	// Words, pictures and a section that this version does not know may differ; a last digit by one.
	words := strings.NewReplacer("What to do", "What is to do", "limit 15 mΩ", "upper limit 15 mΩ", "</header>", "</header><h2>Weather</h2><p>17 °C</p>",
		`d="M 5`, `d="M 7`).Replace(page)
	last := regexp.MustCompile(`<td class="n">[0-9]+\.[0-9]( mΩ</td>)`).FindString(words)
	if last == "" {
		t.Fatal("no value")
	}
	digit := strings.Index(last, " mΩ") - 1
	near := map[byte]string{'9': "8"}[last[digit]]
	if near == "" {
		near = string(last[digit] + 1)
	}
	words = resummed(strings.Replace(words, last, last[:digit]+near+last[digit+1:], 1))
	if v := verified(t, words, newer); len(v.Faults) > 0 {
		t.Errorf("other words: %q", v.Faults)
	}
	far := resummed(strings.Replace(page, last, `<td class="n">2345.6`+last[strings.Index(last, " mΩ"):], 1))
	if v := verified(t, far, newer); len(v.Faults) != 1 || !strings.Contains(v.Faults[0], `Resistances: says 2345.6 in "2345.6 mΩ", and `) {
		t.Errorf("another number: %q", v.Faults)
	}
	for from, to := range map[string]string{`<td class="fail">fail</td>`: `<td class="pass">pass</td>`, `<b>FAIL</b>`: `<b>PASS</b>`} {
		if !strings.Contains(page, from) {
			t.Fatalf("the page has no %s", from)
		}
		changed := resummed(strings.Replace(page, from, to, 1))
		if v := verified(t, changed, newer); len(v.Faults) != 1 || !strings.Contains(strings.ToLower(v.Faults[0]), `says pass in "pass", and fail follows`) {
			t.Errorf("%s in place of %s: %q", to, from, v.Faults)
		}
	}
	if v := verified(t, strings.Replace(page, "M 5", "M 7", 1), newer); len(v.Faults) != 1 || !strings.Contains(v.Faults[0], "the sum in the last line") {
		t.Errorf("another picture: %q", v.Faults)
	}
}

func TestNoReport(t *testing.T) {
	page := written(t, spoilt(t))
	for what, text := range map[string]string{"nothing": "", "a text": "hello", "a page of another's": "<!DOCTYPE html><title>x</title>",
		"a page without inputs": page[:strings.Index(page, "<details>")], "a run file": shelf} {
		_, err := Verify("r.html", []byte(text), program)
		if _, ok := errors.AsType[ErrNoReport](err); !ok || !strings.HasPrefix(err.Error(), "r.html: is no report") {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// Whatever a text inside holds, it comes out as it was put in, and no page brings the comparison down.
func FuzzInside(f *testing.F) {
	for _, text := range []string{"", "\n", "\r\n\r", "a < b & c > \"d\" 'e'", "</pre>\n</details>", "&#13;&amp;#13;", "\x00\xff", "<svg><h2>1.5</h2>", "\u00a0\n"} {
		f.Add(text, text)
	}
	f.Fuzz(func(t *testing.T, text, other string) {
		part := page.Part{Name: runFilePart, Title: "The run file", Text: text}
		src := "<details><summary>The run file</summary>\n<pre data-part=\"run file\">" + string(part.HTML()) + "</pre>\n</details>\n"
		inside, err := open([]byte(src))
		if err != nil || len(inside.parts) != 1 || inside.parts[0] != part {
			t.Errorf("%q became %+v, %v", text, inside.parts, err)
		}
		if same := text == other; same != (len(differences([]byte(text), []byte(other), false)) == 0) {
			t.Errorf("%q and %q", text, other)
		}
		differences([]byte(text), []byte(other), true)
	})
}
