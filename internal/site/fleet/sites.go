package fleet

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
	"ohmkeep/internal/web/access"
)

var sitesPage = parts.NewPage(files, nil, "sites.html", "shared.html")

// Bounds of a page, so that it can be read on a phone.
const (
	mostRows   = 100 // sites
	mostCauses = 4   // of a site
)

// bar is a verdict in a bar: its word, and the rest of the sentence.
type bar struct{ Class, Word, Rest string }

// choice is a link to the sites of a severity.
type choice struct {
	Text, Link string
	Chosen     bool
}

// siteRow is a site in the list.
type siteRow struct {
	Class, Word        string // of the severity
	Until              string // when a repair ends
	Name, Label, Place string
	Link               string
	Since, Age, Heard  string
	Causes             []string
}

// list is the data of the page of the sites.
type list struct {
	Bar             bar
	At              string // when the list was made
	Choices         []choice
	Query, Severity string // as requested
	Found           string // how many sites the choices leave
	Rows            []siteRow
	Earlier, Later  string // links to the rest of the list; "" = no such page
	LoggedIn        bool
}

// sites answers with the list of the sites.
func (p *pages) sites(w http.ResponseWriter, r *http.Request) {
	now := p.Now()
	all, err := p.Sites(r.Context())
	if err != nil {
		p.unavailable(w, r, err)
		return
	}
	query := r.URL.Query()
	data := list{Bar: barOf(all), At: now.Local().Format("2 January 2006, 15:04"), Query: query.Get("q"), Severity: query.Get("severity"), LoggedIn: access.VisitorOf(r).LoggedIn}
	data.Choices = choicesOf(all, data.Severity, data.Query)
	found := slices.DeleteFunc(slices.Clone(all), func(s *firm.Site) bool {
		return data.Severity != "" && string(s.Severity) != data.Severity || !mentions(s, data.Query)
	})
	data.Found = number.Count(len(found), "site")
	begin, _ := strconv.Atoi(query.Get("from")) // anything else is the beginning
	begin = max(0, min(begin, len(found)-1))
	end := min(begin+mostRows, len(found))
	for _, s := range found[begin:end] {
		data.Rows = append(data.Rows, rowOf(s, now))
	}
	link := func(from int) string { return address(data.Severity, data.Query, from) }
	if begin > 0 {
		data.Earlier = link(max(0, begin-mostRows))
	}
	if end < len(found) {
		data.Later = link(end)
	}
	sitesPage.Write(w, r, http.StatusOK, p.head("Sites: "+strings.ToLower(data.Bar.Word), "/"), data)
}

// barOf returns the verdict on all sites.
func barOf(all []*firm.Site) bar {
	if len(all) == 0 {
		return bar{string(assessment.Unproven), "NO SITE", "No site has sent anything yet. ohmkeep watch --ship sends what a watch stores."}
	}
	text, verdict := wording.FleetHeadline(all)
	word := map[assessment.Verdict]string{assessment.Fail: "FAILING", assessment.Unproven: "UNPROVEN", assessment.Pass: "SOUND"}[verdict]
	return bar{string(verdict), word, text + "."}
}

// choicesOf returns the links to the sites of each severity that there are.
func choicesOf(all []*firm.Site, chosen, query string) []choice {
	out := []choice{{"all " + strconv.Itoa(len(all)), address("", query, 0), chosen == ""}}
	for _, severity := range firm.Severities {
		n := 0
		for _, s := range all {
			if s.Severity == severity {
				n++
			}
		}
		if n > 0 || chosen == string(severity) {
			out = append(out, choice{string(severity) + " " + strconv.Itoa(n), address(string(severity), query, 0), chosen == string(severity)})
		}
	}
	return out
}

// address returns the link to a part of the list.
func address(severity, query string, from int) string {
	v := url.Values{}
	if severity != "" {
		v.Set("severity", severity)
	}
	if query != "" {
		v.Set("q", query)
	}
	if from > 0 {
		v.Set("from", strconv.Itoa(from))
	}
	if len(v) == 0 {
		return "/"
	}
	return "/?" + v.Encode()
}

// mentions reports whether a text is part of a name of a site, of its runs or of what fails there,
// in upper or lower case.
func mentions(s *firm.Site, text string) bool {
	text = strings.ToLower(strings.TrimSpace(text))
	within := func(names ...string) bool {
		return slices.ContainsFunc(names, func(name string) bool { return strings.Contains(strings.ToLower(name), text) })
	}
	return within(s.Name, s.Label, s.Place) || slices.ContainsFunc(s.Runs, func(r firm.Run) bool {
		return within(r.Name, r.Installer) || slices.ContainsFunc(r.Causes, func(c firm.Cause) bool { return within(wording.ElementOf(c)) })
	})
}

// rowOf returns a site's row in the list.
func rowOf(s *firm.Site, now time.Time) siteRow {
	row := siteRow{Class: string(wording.SeverityVerdict(s.Severity)), Word: string(s.Severity), Name: printable.Short(s.Name, 80), Label: printable.Short(s.Label, 80),
		Place: printable.Short(s.Place, 80), Link: siteLink(s.ID), Heard: wording.HeardOf(s, now), Causes: wording.Causes(s, mostCauses)}
	if !s.Since.IsZero() {
		row.Since, row.Age = s.Since.Format(time.DateOnly), number.Count(int(now.Sub(s.Since).Hours()/24), "day")
	}
	if s.Severity == firm.InRepair {
		row.Until = s.Repair.Local().Format("2 Jan 2006, 15:04")
	}
	return row
}

func siteLink(id int64) string { return "/site/" + strconv.FormatInt(id, 10) }
