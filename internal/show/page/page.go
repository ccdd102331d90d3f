package page

import (
	"bytes"
	_ "embed"
	"fmt"
	"html"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/printable"
)

// style is the style sheet of every page.
//
//go:embed style.css
var style string

//go:embed page.html
var pageText string

var page = template.Must(template.New("page").Parse(pageText))

// Options are the facts on a page that are not in the assessment.
type Options struct {
	Made    time.Time // when the page was made; the zero time is left out
	Program string    // version of the program that made it; may be left out

	Loads   *repair.Loads // what load the run carries; nil = not computed
	Repairs []Repair      // in the order of time
	// BeforeRepair is how many of the readings were taken before the newest repair.
	BeforeRepair int
	Inside       []Part // what the page follows from
	Sum          string // what stands in the place of the page's own sum; "" = it has none
}

// Part is a text that stands in a page, to be read and to be taken out again.
type Part struct{ Name, Title, Text string }

// HTML returns the text so that a reader of HTML gets exactly it: a line end of CR and LF would
// otherwise become LF, and a line end right after <pre> would be left out.
func (p Part) HTML() template.HTML {
	return template.HTML("\n" + strings.ReplaceAll(html.EscapeString(p.Text), "\r", "&#13;"))
}

// Repair is work that was noted on a run, with the run before and after it.
type Repair struct {
	Time          time.Time
	Text          string
	Before, After *assessment.Assessment // nil = nothing was read then
}

// drawing is one picture, laid out for a page and for a phone.
type drawing struct{ Wide, Narrow template.HTML }

// readingRow is one row of the page's table of readings.
type readingRow struct {
	Row                  int
	Time, Step, What     string
	Measured, Fitted     string
	Difference           string // measured less fitted
	Standardised, Remark string
	Suspect              bool
}

// Assessment writes an assessment as one page that needs nothing else: no script, no
// font, no picture from elsewhere. It prints on A4 and can be read on a phone.
// The error is the writer's, or says which picture could not be drawn.
func Assessment(w io.Writer, a *assessment.Assessment, o Options) error {
	text, class := wording.Headline(a)
	verdict, rest, _ := strings.Cut(text, ": ")
	data := struct {
		Style                   template.CSS
		Name, Made, MadeAt, Sum string
		Program                 string
		Verdict, Rest, Class    string
		Alarm                   string
		Installation, Installed []wording.Fact
		Steps                   []wording.Fact
		Meters                  []string
		Count, Stretch, Mixed   string
		Actions                 []wording.Action
		Cautions, Assumptions   []string
		Findings                []assessment.Finding
		Load                    *loadPart
		Repairs                 []repairPart
		Unproven                []wording.Line
		Drawings                []drawing
		Residuals               drawing // statistics, which stand last
		Lines                   []wording.Line
		Assumed, Endless        bool
		Readings                []readingRow
		Inside                  []Part
	}{
		Style: template.CSS(style), Name: printable.Short(wording.RunName(a.Run), 120), Verdict: verdict, Rest: rest, Class: string(class),
		Program: o.Program, Alarm: wording.Alarm(a), Actions: wording.Actions(a), Findings: wording.Notes(a.Findings), Cautions: wording.Cautions, Assumptions: wording.Assumptions(a),
		Installed: wording.Installed(a.Run), Meters: wording.Meters(a), Load: loadPartOf(o.Loads), Repairs: repairPartsOf(o.Repairs), Inside: o.Inside, Sum: o.Sum,
	}
	if a.Run != nil {
		data.Installation = wording.Installation(a.Run.Installation)
		data.Steps = stepsOf(a)
	}
	data.Count, data.Stretch = measuredWhen(a.Readings)
	if n := o.BeforeRepair; n > 0 {
		data.Mixed = mixed(n, len(a.Readings), o.Repairs[len(o.Repairs)-1])
	}
	if !o.Made.IsZero() {
		data.Made, data.MadeAt = o.Made.Format("2 January 2006, 15:04 -07:00"), o.Made.Format(time.RFC3339)
	}
	worst := wording.WorstFirst(a.Elements)
	for _, e := range worst {
		line := wording.LineOf(e)
		data.Lines = append(data.Lines, line)
		if e.Verdict == assessment.Unproven {
			data.Unproven = append(data.Unproven, line)
		}
		data.Assumed, data.Endless = data.Assumed || !e.Known && !e.Open(), data.Endless || wording.Endless(e)
	}
	for _, r := range a.Readings {
		data.Readings = append(data.Readings, rowOf(r))
	}
	for _, at := range []func(width int) *chart.Picture{
		func(width int) *chart.Picture { return chart.Fitted(a, width) },
		func(width int) *chart.Picture { return chart.Resistances(worst, width) },
	} {
		d, err := draw(at)
		if err != nil {
			return err
		}
		data.Drawings = append(data.Drawings, d)
	}
	var err error
	data.Residuals, err = draw(func(width int) *chart.Picture { return chart.Residuals(a.Readings, width) })
	if err != nil {
		return err
	}
	if err := page.Execute(w, data); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return nil
}

// draw draws a picture for a page and for a phone.
func draw(at func(width int) *chart.Picture) (drawing, error) {
	wide, err := inline(at(chart.Wide))
	if err != nil {
		return drawing{}, err
	}
	narrow, err := inline(at(chart.Narrow))
	return drawing{wide, narrow}, err
}

// inline draws a picture into the page; the picture has escaped its own text.
func inline(p *chart.Picture) (template.HTML, error) {
	var b bytes.Buffer
	if err := p.SVG(&b); err != nil {
		return "", fmt.Errorf("report: %w", err)
	}
	return template.HTML(b.String()), nil
}

func rowOf(r assessment.Reading) readingRow {
	out := readingRow{Row: r.Row, Step: printable.Short(r.Step, 40), Suspect: r.Suspect,
		What: wording.Capital(wording.Between(r.Quantity, r.From, r.To)), Measured: printable.Short(r.Text+" "+r.Unit, 30),
		Fitted: wording.InUnit(r.Unit, r.Quantity, r.Predicted), Difference: wording.InUnit(r.Unit, r.Quantity, r.Residual), Remark: printable.Short(r.Note, 120)}
	if !r.Time.IsZero() {
		out.Time = r.Time.Format("2006-01-02 15:04")
	}
	if !math.IsNaN(r.Standardised) && !math.IsInf(r.Standardised, 0) {
		out.Standardised = strings.Replace(fmt.Sprintf("%+.1f", r.Standardised), "-", "−", 1)
	}
	if !r.Used && out.Remark == "" {
		out.Remark = "left out of the fit"
	}
	return out
}
