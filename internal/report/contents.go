package report

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/reading"
	readingcsv "ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/page"
)

// Names of the parts inside a report. Those of a stretch begin with its number.
const (
	runFilePart  = "run file"
	profilePart  = "profile " // followed by its name
	readingsPart = "readings"
	meansPart    = "means"
	repairsPart  = "repairs"
)

// contents is what stands inside a report: texts, and the facts of its making.
type contents struct {
	made    time.Time
	program string
	parts   []page.Part
}

// part returns the text of a part; "" where there is none.
func (c contents) part(name string) string {
	for _, p := range c.parts {
		if p.Name == name {
			return p.Text
		}
	}
	return ""
}

func stretchPart(i int, part string) string { return fmt.Sprintf("stretch %d %s", i, part) }

// pack writes the inputs of a report as texts.
func pack(in Input) (contents, error) {
	c := contents{made: in.Made.Truncate(time.Second), program: in.Program}
	add := func(name, title, text string) {
		c.parts = append(c.parts, page.Part{Name: name, Title: title, Text: text})
	}
	addReadings := func(of func(part string) string, when string, readings []reading.Reading) error {
		lines, means, err := formatReadings(readings)
		add(of(readingsPart), fmt.Sprintf("The readings%s: %d", when, len(readings)), lines)
		if means != "" {
			add(of(meansPart), "What the means among them are of"+when, means)
		}
		return err
	}
	add(runFilePart, "The run file", string(in.RunFile))
	for _, p := range in.Profiles {
		add(profilePart+p.Name, "The profile "+p.Name, p.Text)
	}
	if err := addReadings(func(part string) string { return part }, "", in.Readings); err != nil {
		return c, err
	}
	if len(in.Repairs) > 0 {
		text, err := formatRepairs(in.Repairs)
		if err != nil {
			return c, err
		}
		add(repairsPart, "The repairs as noted", text)
	}
	for i, readings := range in.Stretches {
		when := " before the first repair"
		if i > 0 {
			when = " after the repair of " + in.Repairs[i-1].Time.Format("2 January 2006")
		}
		if err := addReadings(func(part string) string { return stretchPart(i, part) }, when, readings); err != nil {
			return c, err
		}
	}
	return c, nil
}

// unpack is the inverse of pack; it also returns the run.
func (c contents) unpack() (in Input, r *run.Run, err error) {
	in = Input{RunFile: []byte(c.part(runFilePart)), Made: c.made, Program: c.program}
	for _, p := range c.parts {
		if name, ok := strings.CutPrefix(p.Name, profilePart); ok {
			in.Profiles = append(in.Profiles, Profile{name, p.Text})
		}
	}
	if r, err = parseRun(in.RunFile, in.Profiles); err != nil {
		return in, nil, err
	}
	if in.Readings, err = parseReadings("the readings inside", c.part(readingsPart), c.part(meansPart), r); err != nil {
		return in, nil, err
	}
	text := c.part(repairsPart)
	if text == "" {
		return in, r, nil
	}
	if in.Repairs, err = parseRepairs(text); err != nil {
		return in, nil, err
	}
	for i := range len(in.Repairs) + 1 {
		readings, err := parseReadings(fmt.Sprintf("the readings of stretch %d inside", i), c.part(stretchPart(i, readingsPart)), c.part(stretchPart(i, meansPart)), r)
		if err != nil {
			return in, nil, err
		}
		in.Stretches = append(in.Stretches, readings)
	}
	return in, r, nil
}

// formatReadings writes readings as a file of readings, and what their means are of as a second
// table; "" where none is a mean.
func formatReadings(readings []reading.Reading) (lines, means string, err error) {
	var b, m bytes.Buffer
	if err := readingcsv.Write(&b, readings); err != nil {
		return "", "", err
	}
	out := csv.NewWriter(&m)
	for i, x := range readings {
		if x.Mean == nil {
			continue
		}
		if m.Len() == 0 {
			_ = out.Write(meanColumns) // to memory
			out.Flush()
		}
		exact := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
		_ = out.Write([]string{strconv.Itoa(i + 2), exact(x.Value), strconv.Itoa(x.Mean.Count), exact(x.Mean.Scatter), exact(x.Mean.Independent),
			x.Mean.First.Format(time.RFC3339Nano), x.Mean.Last.Format(time.RFC3339Nano)}) // to memory
	}
	out.Flush()
	return b.String(), m.String(), nil
}

// meanColumns are the columns of the table of means: the line of the readings, and reading.Mean.
var meanColumns = []string{"line", "mean", "count", "scatter", "independent", "first", "last"}

// parseReadings is the inverse of formatReadings.
func parseReadings(name, lines, means string, r *run.Run) ([]reading.Reading, error) {
	set, err := readingcsv.Parse(name, strings.NewReader(lines), r)
	if err != nil {
		return nil, err
	}
	readings := set.Readings
	rows := csv.NewReader(strings.NewReader(means))
	rows.FieldsPerRecord = len(meanColumns)
	for n := 1; ; n++ {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return readings, nil
		}
		bad := fmt.Errorf("%s: the means: line %d is not of this form: %s", name, n, strings.Join(meanColumns, ","))
		if err != nil || n == 1 && !slices.Equal(row, meanColumns) {
			return nil, bad
		}
		if n == 1 {
			continue
		}
		at, mean, value, ok := parseMean(row)
		i := slices.IndexFunc(readings, func(x reading.Reading) bool { return x.Row == at })
		if !ok || i < 0 {
			return nil, bad
		}
		readings[i].Mean, readings[i].Value = mean, value
	}
}

func parseMean(row []string) (line int, mean *reading.Mean, value float64, ok bool) {
	ok = true
	check := func(err error) { ok = ok && err == nil }
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		check(err)
		ok = ok && !math.IsNaN(v) && !math.IsInf(v, 0)
		return v
	}
	moment := func(text string) time.Time {
		v, err := time.Parse(time.RFC3339Nano, text)
		check(err)
		return v
	}
	line, err := strconv.Atoi(row[0])
	check(err)
	mean = &reading.Mean{Scatter: number(row[3]), Independent: number(row[4]), First: moment(row[5]), Last: moment(row[6])}
	mean.Count, err = strconv.Atoi(row[2])
	check(err)
	return line, mean, number(row[1]), ok && mean.Count > 1 && mean.Independent >= 1 && mean.Scatter >= 0
}

func formatRepairs(repairs []Repair) (string, error) {
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	rows := [][]string{{"time", "text"}}
	for _, r := range repairs {
		rows = append(rows, []string{r.Time.Format(time.RFC3339Nano), r.Text})
	}
	err := out.WriteAll(rows)
	return b.String(), err
}

func parseRepairs(text string) (repairs []Repair, err error) {
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(rows) == 0 || len(rows[0]) != 2 {
		return nil, fmt.Errorf("the repairs inside are not a table of time and text: %w", err)
	}
	for _, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339Nano, row[0])
		if err != nil {
			return nil, fmt.Errorf("the repairs inside: %q is not a time", row[0])
		}
		repairs = append(repairs, Repair{at, row[1]})
	}
	return repairs, nil
}
