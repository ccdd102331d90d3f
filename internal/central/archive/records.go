package archive

import (
	"context"
	"fmt"
	"slices"
	"time"

	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/store"
)

// The methods of this file return what the store of the run returns, for the pages that show it.

// NewestMarks returns the newest marks of a run that were not withdrawn, at most so many, the newest
// first: those of a kind where kind is not "", and none of the kind without.
func (a *Reader) NewestMarks(ctx context.Context, runName, kind, without string, most int) (marks []store.Mark, err error) {
	err = a.db.Each(ctx, `SELECT at, zone, kind, subject, text FROM ohmkeep.mark WHERE site = $1 AND run = $2 AND ($3 = '' OR kind = $3) AND kind <> $4
		AND revision = (SELECT coalesce(max(id), 0) FROM `+wholeRevisions+`) AND withdrawn IS NULL ORDER BY at DESC, kind, subject, text LIMIT $5`,
		func(r postgres.Row) error {
			marks = append(marks, markOf(r))
			return nil
		}, a.site, runName, kind, without, most)
	return marks, err
}

// markOf returns the mark of a row: at, zone, kind, subject and text.
func markOf(r postgres.Row) store.Mark {
	m := store.Mark{Time: time.Unix(0, r.Int(0)).UTC(), Kind: r.Text(2), Subject: r.Text(3), Text: r.Text(4)}
	if zone := int(r.Int(1)); zone != 0 {
		m.Time = m.Time.In(time.FixedZone("", zone))
	}
	return m
}

// Span returns the moments of the first and the last reading of a run; both are zero where there are
// none.
func (a *Reader) Span(ctx context.Context, runName string) (first, last time.Time, err error) {
	row, _, err := a.db.One(ctx, `SELECT min(first.at), max(last.at) FROM ohmkeep.series s
		CROSS JOIN LATERAL (SELECT at FROM ohmkeep.reading WHERE site = $1 AND series = s.id ORDER BY at LIMIT 1) first
		CROSS JOIN LATERAL (SELECT at FROM ohmkeep.reading WHERE site = $1 AND series = s.id ORDER BY at DESC LIMIT 1) last
		WHERE s.site = $1 AND s.run = $2`, a.site, runName)
	if err != nil || row[0] == nil {
		return first, last, err
	}
	return time.Unix(0, row.Int(0)).UTC(), time.Unix(0, row.Int(1)).UTC(), nil
}

// MinMeanMax summarises the selected readings, as one channel, in n periods of equal length from
// sel.Since to sel.Until, both of which must be set.
func (a *Reader) MinMeanMax(ctx context.Context, sel store.Selection, n int) ([]store.Bucket, error) {
	buckets, edges := sel.Periods(n)
	for x, err := range a.Selected(ctx, sel) {
		if err != nil {
			return nil, err
		}
		i, found := slices.BinarySearch(edges, x.Time.UnixNano())
		if !found {
			i--
		}
		b := &buckets[i]
		if b.N == 0 {
			b.Min, b.Max = x.Value, x.Value
		}
		b.N++
		b.Min, b.Max, b.Mean = min(b.Min, x.Value), max(b.Max, x.Value), b.Mean+x.Value // a sum as yet
	}
	for i := range buckets {
		if b := &buckets[i]; b.N > 0 {
			b.Mean /= float64(b.N)
		}
	}
	return buckets, nil
}

// Arrived is what has arrived of a run.
type Arrived struct {
	Heard    time.Time // when its site last sent something; zero = never
	Until    time.Time // readings before it have arrived; zero = none
	Revision int64     // of its readings; counts up when those that had arrived are replaced
}

// Arrived returns what has arrived of a run. The error is a fault if the site has no such run.
func (a *Reader) Arrived(ctx context.Context, runName string) (x Arrived, err error) {
	row, found, err := a.db.One(ctx, `SELECT (extract(epoch FROM heard) * 1000)::bigint, arrived, (SELECT coalesce(max(id), 0) FROM `+wholeRevisions+`)
		FROM ohmkeep.run WHERE site = $1 AND name = $2`, a.site, runName)
	if err == nil && !found {
		err = fault.Fault{Text: fmt.Sprintf("site %q has no run %q", a.name, runName)}
	}
	if err != nil {
		return x, err
	}
	if row[0] != nil {
		x.Heard = time.UnixMilli(row.Int(0)).UTC()
	}
	if at := row.Int(1); at > 0 {
		x.Until = time.Unix(0, at).UTC()
	}
	x.Revision = row.Int(2)
	return x, nil
}

// Name returns the name of the site.
func (a *Reader) Name() string { return a.name }
