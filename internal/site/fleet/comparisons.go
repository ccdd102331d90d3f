package fleet

import (
	"net/http"

	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/text/printable"
	"ohmkeep/internal/web/access"
)

var comparisonsPage = parts.NewPage(files, nil, "comparisons.html", "shared.html")

// comparisonRow is a comparison in the table.
type comparisonRow struct {
	Class string
	wording.Comparison
}

// comparisons answers with the page of the comparisons.
func (p *pages) comparisons(w http.ResponseWriter, r *http.Request) {
	all, err := p.Comparisons(r.Context())
	if err != nil {
		p.unavailable(w, r, err)
		return
	}
	data := struct {
		Headline string
		Rows     []comparisonRow
		LoggedIn bool
	}{Headline: wording.Capital(wording.ComparisonsHeadline(all)) + ".", LoggedIn: access.VisitorOf(r).LoggedIn}
	for _, c := range all {
		row := comparisonRow{Comparison: wording.ComparisonOf(c)}
		row.Group = wording.Capital(printable.Short(row.Group, 80))
		if c.Significant {
			row.Class = "fail"
		}
		data.Rows = append(data.Rows, row)
	}
	comparisonsPage.Write(w, r, http.StatusOK, p.head("Comparisons", r.URL.Path), data)
}
