package fleet

import (
	"io"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/common/expfmt"

	"ohmkeep/internal/result/firm"
)

// WriteMetrics writes the list in the Prometheus text format, as a collector of text files reads
// it. Causes are counted, not listed: one alert is enough for a site and a cause. An element that
// fails on several rails, or by both assess and drift, is one.
func WriteMetrics(w io.Writer, sites []*firm.Site, now time.Time) error {
	registry := prometheus.NewRegistry()
	gauge := func(name, help string, labels ...string) *prometheus.GaugeVec {
		g := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "ohmkeep_" + name, Help: help}, labels)
		registry.MustRegister(g)
		return g
	}
	failing := gauge("fleet_failing_elements", "Elements of a site that fail, by kind and verdict.", "site", "place", "kind", "verdict")
	unproven := gauge("fleet_unproven_elements", "Elements of a site whose verdict is unproven.", "site", "place")
	heard := gauge("fleet_heard_timestamp_seconds", "When a run of a site was last heard of.", "site", "place", "run")
	unheard := gauge("fleet_unheard", "1 while nothing was ever heard of a site.", "site", "place")
	repair := gauge("fleet_in_repair", "1 while a site is being repaired.", "site")
	until := gauge("fleet_repair_until_timestamp_seconds", "Until when a site is being repaired.", "site")
	severity := gauge("fleet_sites", "Sites of a severity.", "severity")
	made := gauge("fleet_list_timestamp_seconds", "When the list was made.")
	for _, s := range firm.Severities {
		severity.WithLabelValues(string(s)).Set(0)
	}
	made.WithLabelValues().Set(float64(now.Unix()))
	for _, s := range sites {
		severity.WithLabelValues(string(s.Severity)).Inc()
		inRepair := 0.0
		if s.Severity == firm.InRepair {
			inRepair = 1
			until.WithLabelValues(s.Name).Set(float64(s.Repair.Unix()))
		}
		repair.WithLabelValues(s.Name).Set(inRepair)
		unheard.WithLabelValues(s.Name, s.Place).Set(1)
		undecided := unproven.WithLabelValues(s.Name, s.Place)
		for _, r := range s.Runs {
			undecided.Add(float64(r.Unproven))
			if !r.Heard.IsZero() {
				heard.WithLabelValues(s.Name, s.Place, r.Name).Set(float64(r.Heard.Unix()))
				unheard.WithLabelValues(s.Name, s.Place).Set(0)
			}
			for _, c := range elements(r.Causes) {
				failing.WithLabelValues(s.Name, s.Place, c.Kind, c.Verdict).Inc()
			}
		}
	}
	families, err := registry.Gather()
	if err != nil {
		return err
	}
	for _, f := range families {
		if _, err := expfmt.MetricFamilyToText(w, f); err != nil {
			return err
		}
	}
	return nil
}

// elements returns one cause for each element: the first of drift, which says since when, or else
// the first one.
func elements(all []firm.Cause) (found []firm.Cause) {
	index := map[[2]string]int{}
	for _, c := range all {
		i, known := index[[2]string{c.Kind, c.Name}]
		switch {
		case !known:
			index[[2]string{c.Kind, c.Name}] = len(found)
			found = append(found, c)
		case found[i].Source != firm.Drift && c.Source == firm.Drift:
			found[i] = c
		}
	}
	return found
}
