package jsondoc

import (
	"io"

	"ohmkeep/internal/result/firm"
)

// FleetDoc is what fleet prints: the sites, those first that need a visit most.
type FleetDoc struct {
	Schema int       `json:"schema"`
	Sites  []SiteDoc `json:"sites"`
}

// SiteDoc is a site. Severity is failing, silent, unproven, sound or in repair.
type SiteDoc struct {
	Site     string        `json:"site"`
	Label    string        `json:"label"`
	Place    string        `json:"place"`
	Severity firm.Severity `json:"severity"`
	Since    Date          `json:"since"`
	Repair   Date          `json:"repair"` // until when it is being repaired
	Runs     []FleetRunDoc `json:"runs"`
}

// FleetRunDoc is a run of a site.
type FleetRunDoc struct {
	Run       string     `json:"run"`
	Heard     Date       `json:"heard"`
	Arrived   Date       `json:"arrived"` // readings before it have arrived
	Installer string     `json:"installer"`
	Elements  int        `json:"elements"`
	Unproven  int        `json:"unproven"`
	Failing   []CauseDoc `json:"failing"`
}

// CauseDoc is an element that fails; resistances in milliohms.
type CauseDoc struct {
	Source         string `json:"source"` // assess or drift
	Kind           string `json:"kind"`
	Name           string `json:"name"`
	Rail           string `json:"rail"`
	Verdict        string `json:"verdict"`
	Milliohms      Number `json:"milliohms"`
	Low            Number `json:"low"`
	High           Number `json:"high"`
	LimitMilliohms Number `json:"limit_milliohms"`
	Since          Date   `json:"since"`
	Reaches        Date   `json:"reaches"`
}

// Fleet writes the sites of a firm. The error is the writer's.
func Fleet(w io.Writer, sites []*firm.Site) error {
	return write(w, "fleet", FleetDoc{Schema: schema, Sites: list(sites, siteDoc)})
}

func siteDoc(s *firm.Site) SiteDoc {
	return SiteDoc{Site: s.Name, Label: s.Label, Place: s.Place, Severity: s.Severity, Since: Date(s.Since), Repair: Date(s.Repair),
		Runs: list(s.Runs, func(r firm.Run) FleetRunDoc {
			return FleetRunDoc{Run: r.Name, Heard: Date(r.Heard), Arrived: Date(r.Arrived), Installer: r.Installer, Elements: r.Elements, Unproven: r.Unproven,
				Failing: list(r.Causes, func(c firm.Cause) CauseDoc {
					return CauseDoc{Source: c.Source, Kind: c.Kind, Name: c.Name, Rail: c.Rail, Verdict: c.Verdict, Milliohms: milli(c.Ohms),
						Low: milli(c.Low), High: milli(c.High), LimitMilliohms: milli(c.Limit), Since: Date(c.Since), Reaches: Date(c.Reaches)}
				})}
		})}
}

// ComparisonsDoc is what fleet compare prints.
type ComparisonsDoc struct {
	Schema             int             `json:"schema"`
	FalseDiscoveryRate float64         `json:"false_discovery_rate"`
	Comparisons        []ComparisonDoc `json:"comparisons"`
}

// ComparisonDoc compares a group with all others; changes are fractions of the resistance a year.
type ComparisonDoc struct {
	By         string `json:"by"`
	Group      string `json:"group"`
	Kind       string `json:"kind"`
	Runs       int    `json:"runs"`
	Others     int    `json:"other_runs"`
	PerYear    Number `json:"per_year"`
	Difference Number `json:"difference"`
	Low        Number `json:"low"`
	High       Number `json:"high"`
	P          Number `json:"p_value"`
	Shown      bool   `json:"difference_shown"`
}

// Comparisons writes comparisons across runs. The error is the writer's.
func Comparisons(w io.Writer, all []firm.Comparison) error {
	return write(w, "fleet comparisons", ComparisonsDoc{schema, firm.FalseDiscoveryRate, list(all, func(c firm.Comparison) ComparisonDoc {
		return ComparisonDoc{c.By, c.Group, c.Kind, c.Runs, c.Others, Number(c.PerYear), Number(c.Difference), Number(c.Low), Number(c.High), Number(c.P), c.Significant}
	})})
}
