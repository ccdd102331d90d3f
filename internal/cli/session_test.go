package cli

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/calibrationtest"
)

// session runs commands as at a shell, in a folder of its own.
type session struct {
	*testing.T
	dir string // the folder; "" = the working directory
}

// newSession returns a session whose folder is the working directory. Its test runs alone, because the working
// directory is that of the whole process.
func newSession(t *testing.T) session {
	t.Helper()
	t.Chdir(t.TempDir())
	return session{t, ""}
}

// newParallelSession returns a session of a test that runs beside others, because it waits for instruments or the
// disk, or computes while those wait. The names of files in its command lines become paths, and the paths in what is
// printed become names again. Short runs are those under the race detector, where instruments would answer too
// late beside others.
func newParallelSession(t *testing.T) session {
	t.Helper()
	if !testing.Short() {
		t.Parallel()
	}
	return session{t, t.TempDir()}
}

// path returns the path of a file in the session's folder.
func (s session) path(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(s.dir, name)
}

var nameOfFile = regexp.MustCompile(`^[\w-]+\.(toml|csv|db|txt|html|png|svg)$`)

// argument returns a word of a command line as the command gets it.
func (s session) argument(word string) string {
	if nameOfFile.MatchString(word) {
		return s.path(word)
	}
	return word
}

// printed returns what a command printed, with names of files in place of paths.
func (s session) printed(text string) string {
	if s.dir == "" {
		return text
	}
	return strings.ReplaceAll(text, s.dir+string(filepath.Separator), "")
}

// testdata returns the path of the project's examples, before a test leaves its folder.
func testdata(t *testing.T) string {
	t.Helper()
	path, err := filepath.Abs("../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// outcome is what one command line gave.
type outcome struct {
	t           *testing.T
	line        string
	status      int
	out, faults string
}

// do runs a command line as a shell would: quotes hold words together, < and >
// name the files of the standard streams.
func (s session) do(line string) outcome {
	s.Helper()
	return s.answer("", line)
}

// answer is do with text on standard input.
func (s session) answer(typed, line string) outcome {
	s.Helper()
	return s.during(s.Context(), typed, line)
}

// hears runs a command line that listens to an instrument for SECONDS, until it exits with a status and prints
// texts. On a busy machine an instrument may say nothing for a while, so that each try listens for twice as long.
func (s session) hears(line string, status int, texts ...string) outcome {
	s.Helper()
	const first, last = 0.1, 6.4
	for seconds := first; ; seconds *= 2 {
		o := s.do(strings.ReplaceAll(line, "SECONDS", fmt.Sprint(seconds)))
		missing := func(text string) bool { return !strings.Contains(o.out, text) }
		if seconds > last || o.status == status && !slices.ContainsFunc(texts, missing) {
			return o.exits(status).prints(texts...)
		}
	}
}

// readings reads a CSV file as a command would.
func (s session) readings(runFile, path string) []reading.Reading {
	s.Helper()
	r := runtest.Load(s, s.path(runFile))
	set, err := csv.Parse(path, strings.NewReader(s.content(path)), r)
	if err != nil {
		s.Fatal(err)
	}
	return set.Readings
}

func (s session) during(ctx context.Context, typed, line string) outcome {
	s.Helper()
	words := split(line)
	if words[0] != "ohmkeep" {
		s.Fatalf("no command of ours: %s", line)
	}
	var args []string
	var to string
	for i := 1; i < len(words); i++ {
		switch words[i] {
		case ">":
			i++
			to = words[i]
		case "<":
			i++
			typed = s.content(words[i])
		default:
			args = append(args, s.argument(words[i]))
		}
	}
	var out, faults bytes.Buffer
	status := Run(ctx, args, strings.NewReader(typed), &out, &faults)
	if to != "" {
		s.write(to, out.String())
		out.Reset()
	}
	return outcome{s.T, line, status, s.printed(out.String()), s.printed(faults.String())}
}

var asTheyStand = flag.Bool("examples", false, "run the examples of help and of the README as they stand: with PNG pictures, which take long to draw, and with every demonstration")

// lighter returns a command line with its picture as SVG, unless -examples is given.
func lighter(line string) string {
	if *asTheyStand {
		return line
	}
	return strings.ReplaceAll(line, ".png", ".svg")
}

// split parts a line into words at spaces outside double quotes.
func split(line string) []string {
	quoted := false
	words := strings.FieldsFunc(line, func(r rune) bool {
		if r == '"' {
			quoted = !quoted
		}
		return r == ' ' && !quoted
	})
	for i := range words {
		words[i] = strings.ReplaceAll(words[i], `"`, "")
	}
	return words
}

func (o outcome) exits(status int) outcome {
	o.t.Helper()
	if o.status != status {
		o.t.Fatalf("$ %s\nexits %d, not %d\n%s%s", o.line, o.status, status, o.out, o.faults)
	}
	return o
}

// prints wants texts on standard output.
func (o outcome) prints(texts ...string) outcome {
	o.t.Helper()
	for _, text := range texts {
		if !strings.Contains(o.out, text) {
			o.t.Errorf("$ %s\nprints no %q but\n%s", o.line, text, o.out)
		}
	}
	return o
}

// says wants texts on standard error.
func (o outcome) says(texts ...string) outcome {
	o.t.Helper()
	for _, text := range texts {
		if !strings.Contains(o.faults, text) {
			o.t.Errorf("$ %s\nsays no %q but\n%s", o.line, text, o.faults)
		}
	}
	return o
}

// refused wants exit status 2, nothing printed, and one line that holds a text.
func (o outcome) refused(text string) {
	o.t.Helper()
	o.exits(Wrong).says(text)
	if o.out != "" || strings.Count(o.faults, "\n") != 1 || strings.Contains(o.faults, "failed") {
		o.t.Errorf("$ %s\nprints %q and says\n%s", o.line, o.out, o.faults)
	}
}

func (s session) write(name, content string) {
	s.Helper()
	if err := os.WriteFile(s.path(name), []byte(content), 0o644); err != nil {
		s.Fatal(err)
	}
}

func (s session) content(name string) string {
	s.Helper()
	content, err := os.ReadFile(s.path(name))
	if err != nil {
		s.Fatal(err)
	}
	return string(content)
}

// clear removes the files that a pattern names.
func (s session) clear(pattern string) {
	s.Helper()
	names, err := filepath.Glob(s.path(pattern))
	for _, name := range names {
		if err == nil {
			err = os.Remove(name)
		}
	}
	if err != nil {
		s.Fatal(err)
	}
}

// holds wants exactly these files in the folder, hidden ones included.
func (s session) holds(names ...string) {
	s.Helper()
	entries, err := os.ReadDir(s.path("."))
	if err != nil {
		s.Fatal(err)
	}
	var found []string
	for _, e := range entries {
		found = append(found, e.Name())
	}
	if strings.Join(found, " ") != strings.Join(names, " ") {
		s.Errorf("the folder holds %q, not %q", found, names)
	}
}

// shelf is an invented run of two reels fed at its start, and a bench meter.
var shelf = runtest.Head("Book shelf") + runtest.Supply("A", 5.1, 15, 0) + runtest.Reels(3.5, "left", "right") +
	runtest.FeedFrom("near", "A", "left.start", 1.5, "16 AWG") +
	"[[step]]\nname = \"dark\"\n" + runtest.White("white 5 %", 0.05) + runtest.White("white 20 %", 0.2) +
	"[limits]\ndesign_step = \"white 5 %\"\nfeed_drop_percent = 6\n" +
	runtest.Meter("bench", runtest.Range("voltage", 10, 0.0001, 0.02, 3), runtest.Range("current", 0, 0.001, 0.2, 3))

// walk simulates a survey of the shelf with its joint of so many milliohms, half in
// either conductor, and writes run file and readings; keep picks the visits.
func (s session) walk(milliohms float64, keep func(survey.Visit) bool) {
	s.Helper()
	s.write("shelf.toml", shelf)
	r := runtest.Parse(s, shelf)
	s.write("readings.csv", s.simulated(r, func(p *calibrationtest.Plant) {
		p.Joints[0] = ladder.Rails{Plus: milliohms / 2000, Minus: milliohms / 2000}
	}, keep))
}

func everything(survey.Visit) bool { return true }

// simulated gives the readings of a run as it really is, once change has had its way.
func (s session) simulated(r *run.Run, change func(*calibrationtest.Plant), keep func(survey.Visit) bool) string {
	s.Helper()
	rng := rand.New(rand.NewPCG(3, 4)) // any would do; these make the test repeatable
	plant := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
	change(plant)
	var visits []survey.Visit
	for _, v := range survey.Thorough(r) {
		if keep(v) {
			visits = append(visits, v)
		}
	}
	list, err := plant.Walk(visits, rng, time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))
	if err != nil {
		s.Fatal(err)
	}
	var text bytes.Buffer
	if err := csv.Write(&text, list); err != nil {
		s.Fatal(err)
	}
	return text.String()
}
