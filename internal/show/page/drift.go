package page

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/printable"
)

//go:embed drift.html
var driftText string

var driftPage = template.Must(template.New("drift").Parse(driftText))

// driftPart is one element on the page.
type driftPart struct {
	wording.SeriesLine
	Wide, Narrow template.HTML
	Months       []wording.Month
}

// Drift writes a history as one page that needs nothing else, with a picture and a
// line a month for each element. The error is the writer's, or says which picture could
// not be drawn.
func Drift(w io.Writer, h *history.History, o Options) error {
	headline, verdict := wording.DriftHeadline(h)
	data := struct {
		Style               template.CSS
		Name, Made, Program string
		Headline, Class     string
		Cautions            []string
		Parts               []driftPart
	}{Style: template.CSS(style), Name: printable.Short(wording.RunName(h.Run), 120), Headline: headline, Class: string(verdict), Program: o.Program, Cautions: wording.Cautions}
	if !o.Made.IsZero() {
		data.Made = o.Made.Format("2 January 2006, 15:04 -07:00")
	}
	for _, s := range wording.GravestFirst(h.Series) {
		wide, err := inline(chart.Years(s, chart.Wide))
		if err != nil {
			return err
		}
		narrow, err := inline(chart.Years(s, chart.Narrow))
		if err != nil {
			return err
		}
		data.Parts = append(data.Parts, driftPart{wording.SeriesLineOf(s), wide, narrow, wording.Months(s)})
	}
	if err := driftPage.Execute(w, data); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return nil
}
