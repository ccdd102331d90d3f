package page

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/show/sheet"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/printable"
)

//go:embed sheet.html
var sheetText string

var sheetPage = template.Must(template.New("sheet").Parse(sheetText))

// sheetRound is what is read in one step.
type sheetRound struct {
	Step  string
	Reads []sheetRow
}

type sheetRow struct {
	Number            int
	What, Unit, Meter string
}

// Sheet writes the readings of a plan as a page to print and fill in by hand; csv is the
// name of the file that they are then typed into. The error is the writer's.
func Sheet(w io.Writer, p *plan.Plan, csv string, o Options) error {
	data := struct {
		Style                    template.CSS
		Name, Made, Program, CSV string
		Cautions                 []string
		Rounds                   []sheetRound
	}{Style: template.CSS(style), Name: printable.Short(wording.RunName(p.Run), 120), Program: o.Program, CSV: printable.Short(csv, 120),
		Cautions: wording.Cautions}
	if !o.Made.IsZero() {
		data.Made = o.Made.Format("2 January 2006, 15:04 -07:00")
	}
	n := 0
	for _, round := range p.Rounds {
		part := sheetRound{Step: printable.Short(round.Step, 60)}
		for _, r := range round.Reads {
			n++
			part.Reads = append(part.Reads, sheetRow{n, wording.Capital(wording.Between(r.Quantity, r.From, r.To)), sheet.Unit(r), printable.Short(r.Meter, 40)})
		}
		data.Rounds = append(data.Rounds, part)
	}
	if err := sheetPage.Execute(w, data); err != nil {
		return fmt.Errorf("page: %w", err)
	}
	return nil
}
