// Package fleet answers for all sites of a firm at once, from the central database: what needs a
// visit first, and whether parts of one make, batch or installer behave otherwise than others.
package fleet

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/result/firm"
)

// SilentAfter is how long nothing may be heard of a run. A watch is heard of at every commit (common
// practice: a day, so that a night without power is no visit).
const SilentAfter = 26 * time.Hour

// List returns all sites, those first that need a visit most: by severity, then by the week of the
// earliest cause, then in the order of their places, which is that of a journey.
func List(ctx context.Context, db *postgres.DB, now time.Time) ([]*firm.Site, error) {
	if err := db.Migrate(ctx); err != nil {
		return nil, err
	}
	var all []*firm.Site
	sites := map[int64]*firm.Site{}
	runs := map[int64]map[string]int{}
	err := db.Each(ctx, `SELECT site.id, site.name, label, place, extract(epoch FROM repair)::bigint, run.name, extract(epoch FROM heard)::bigint, arrived, installer, elements, unproven
		FROM ohmkeep.site LEFT JOIN ohmkeep.run ON run.site = site.id ORDER BY site.name, run.name`, func(r postgres.Row) error {
		id := r.Int(0)
		s := sites[id]
		if s == nil {
			s = &firm.Site{ID: id, Name: r.Text(1), Label: r.Text(2), Place: r.Text(3), Repair: seconds(r.Int(4))}
			sites[id], runs[id] = s, map[string]int{}
			all = append(all, s)
		}
		if r[5] != nil {
			runs[id][r.Text(5)] = len(s.Runs)
			s.Runs = append(s.Runs, firm.Run{Name: r.Text(5), Heard: seconds(r.Int(6)), Arrived: nanoseconds(r.Int(7)), Installer: r.Text(8),
				Elements: int(r.Int(9)), Unproven: int(r.Int(10))})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	find := func(r postgres.Row) *firm.Run {
		if i, ok := runs[r.Int(0)][r.Text(1)]; ok {
			return &sites[r.Int(0)].Runs[i]
		}
		return &firm.Run{} // added since the first query
	}
	if err := db.Each(ctx, `SELECT site, run, source, kind, name, rail, verdict, ohms, low, high, limit_ohms, since, reaches FROM ohmkeep.latest
		WHERE fails ORDER BY source, kind, name, rail`, func(r postgres.Row) error {
		x := find(r)
		nan := math.NaN()
		x.Causes = append(x.Causes, firm.Cause{Source: r.Text(2), Kind: r.Text(3), Name: r.Text(4), Rail: r.Text(5), Verdict: r.Text(6),
			Ohms: r.Float(7, nan), Low: r.Float(8, nan), High: r.Float(9, nan), Limit: r.Float(10, nan), Since: nanoseconds(r.Int(11)), Reaches: nanoseconds(r.Int(12))})
		return nil
	}); err != nil {
		return nil, err
	}
	for _, s := range all {
		judge(s, now)
	}
	slices.SortStableFunc(all, bySeverity)
	return all, nil
}

// judge sets the severity of a site and since when.
func judge(s *firm.Site, now time.Time) {
	s.Severity = firm.Sound
	worse := func(to firm.Severity, since time.Time) {
		if slices.Index(firm.Severities, to) < slices.Index(firm.Severities, s.Severity) {
			s.Severity, s.Since = to, since
		} else if to == s.Severity && !since.IsZero() && (s.Since.IsZero() || since.Before(s.Since)) {
			s.Since = since
		}
	}
	for _, r := range s.Runs {
		for _, c := range r.Causes {
			worse(firm.Failing, c.Since)
		}
		if now.Sub(r.Heard) > SilentAfter {
			worse(firm.Silent, r.Heard)
		}
		if r.Unproven > 0 || r.Elements == 0 {
			worse(firm.Unproven, time.Time{})
		}
	}
	if len(s.Runs) == 0 {
		worse(firm.Silent, time.Time{})
	}
	if s.Repair.After(now) {
		s.Severity, s.Since = firm.InRepair, time.Time{}
	}
}

// bySeverity compares two sites by how soon they need a visit. Causes without a date are the newest.
func bySeverity(a, b *firm.Site) int {
	week := func(s *firm.Site) int64 {
		if s.Since.IsZero() {
			return math.MaxInt64
		}
		return s.Since.Unix() / (7 * 24 * 3600)
	}
	return cmp.Or(cmp.Compare(slices.Index(firm.Severities, a.Severity), slices.Index(firm.Severities, b.Severity)),
		cmp.Compare(week(a), week(b)), cmp.Compare(a.Place, b.Place), cmp.Compare(a.Name, b.Name))
}

func seconds(s int64) time.Time {
	if s == 0 {
		return time.Time{}
	}
	return time.Unix(s, 0).UTC()
}

func nanoseconds(ns int64) time.Time {
	if ns <= 0 {
		return time.Time{}
	}
	return time.Unix(0, ns).UTC()
}
