package page

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

//go:embed drift.html
var driftText string

var driftPage = template.Must(template.New("drift").Parse(driftText))

// monthRow is one month of one element.
type monthRow struct {
	Month, Median, Low, High string
	Nights, Apart            int
	What                     string
}

// driftPart is one element on the page.
type driftPart struct {
	wording.SeriesLine
	Wide, Narrow template.HTML
	Months       []monthRow
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
		data.Parts = append(data.Parts, driftPart{wording.SeriesLineOf(s), wide, narrow, monthsOf(s)})
	}
	if err := driftPage.Execute(w, data); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return nil
}

// monthsOf returns a line for each month that has nights.
func monthsOf(s history.Series) []monthRow {
	var rows []monthRow
	for i := 0; i < len(s.Nights); {
		month := s.Nights[i].Time.UTC().Format("2006-01")
		row := monthRow{Month: month}
		var ohms []float64
		for ; i < len(s.Nights) && s.Nights[i].Time.UTC().Format("2006-01") == month; i++ {
			row.Nights++
			if s.Nights[i].Outlier {
				row.Apart++
			} else {
				ohms = append(ohms, s.Nights[i].Ohms)
			}
		}
		slices.Sort(ohms)
		at := func(part float64) string {
			if len(ohms) == 0 {
				return number.MilliohmTenths(math.NaN())
			}
			return number.MilliohmTenths(ohms[int(part*float64(len(ohms)-1))])
		}
		row.Low, row.Median, row.High = at(0), at(0.5), at(1)
		tell := func(when time.Time, what string) {
			if when.UTC().Format("2006-01") == month {
				if row.What != "" {
					row.What += "; "
				}
				row.What += what
			}
		}
		for _, c := range s.Changes {
			tell(c.Time, wording.ChangeWord(c.Shape))
		}
		for _, m := range s.Marks {
			tell(m.Time, printable.Short(m.Text, 60))
		}
		rows = append(rows, row)
	}
	return rows
}
