package fleet

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
	"ohmkeep/internal/web/access"
)

var sitePage = parts.NewPage(files, nil, "site.html", "shared.html")

// runPart is what is known of a run.
type runPart struct {
	Name, Heard, Arrived, Installer string
	Link                            string // to its own pages; "" = there are none
	Known                           string // how many elements have a verdict
	Causes                          []wording.CauseLine
}

// siteData is the data of the page of a site.
type siteData struct {
	Name, Label, Place, Repair string
	Bar                        bar
	Runs                       []runPart
	LoggedIn                   bool
}

// site answers with the page of one site.
func (p *pages) site(w http.ResponseWriter, r *http.Request) {
	now := p.Now()
	all, err := p.Sites(r.Context())
	if err != nil {
		p.unavailable(w, r, err)
		return
	}
	i := slices.IndexFunc(all, func(s *firm.Site) bool { return siteLink(s.ID) == r.URL.Path })
	if i < 0 {
		http.Error(w, "the central database knows no such site; it may have been removed", http.StatusNotFound)
		return
	}
	s := all[i]
	row := rowOf(s, now)
	data := siteData{Name: row.Name, Label: row.Label, Place: row.Place, Bar: bar{Class: row.Class, Word: strings.ToUpper(string(s.Severity))}, LoggedIn: access.VisitorOf(r).LoggedIn}
	switch s.Severity {
	case firm.InRepair:
		data.Bar.Rest = "until " + s.Repair.Local().Format("2 January 2006, 15:04") + ". Until then no alert is given for it."
	case firm.Silent:
		data.Bar.Rest = "Last heard of: " + row.Heard + "."
	case firm.Unproven:
		data.Bar.Rest = "Nothing is known to fail, but not enough readings decide of everything."
	case firm.Sound:
		data.Bar.Rest = "Everything that has a verdict passes."
	default:
		if row.Since != "" {
			data.Bar.Rest = "Since " + row.Since + ", " + row.Age + " ago."
		}
	}
	for _, r := range s.Runs {
		part := runOf(r, now)
		if p.Follow != nil {
			part.Link = runLink(s.ID, r.Name)
		}
		data.Runs = append(data.Runs, part)
	}
	sitePage.Write(w, r, http.StatusOK, p.head(data.Name+": "+string(s.Severity), r.URL.Path), data)
}

// runOf returns what the page says of a run.
func runOf(r firm.Run, now time.Time) runPart {
	part := runPart{Name: printable.Short(r.Name, 80), Heard: wording.HeardAgo(r.Heard, now), Installer: printable.Short(r.Installer, 80),
		Known: fmt.Sprintf("%s with a verdict, %d failing, %d unproven", number.Count(r.Elements, "element"), len(r.Causes), r.Unproven)}
	if !r.Arrived.IsZero() {
		part.Arrived = r.Arrived.Local().Format("2 January 2006, 15:04")
	}
	for _, c := range r.Causes {
		line := wording.CauseLineOf(c)
		line.Element = wording.Capital(line.Element)
		part.Causes = append(part.Causes, line)
	}
	return part
}
