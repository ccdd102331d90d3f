package archive

import (
	"context"
	"math"
	"time"

	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/result/firm"
)

// Describe adds the run file and the newest verdicts, in one transaction. Have was called before.
func (s *Sink) Describe(ctx context.Context, r ship.Description) error {
	if err := s.open(ctx); err != nil {
		return err
	}
	return s.db.Within(ctx, func() error {
		if _, err := s.receive(ctx, false); err != nil {
			return err
		}
		if _, err := s.db.Exec(ctx, "SELECT ohmkeep.describe($1, $2, $3, $4, $5)", s.siteID, s.run, r.File, r.Place, r.Installer); err != nil {
			return err
		}
		for _, v := range r.Verdicts {
			if _, err := s.db.Exec(ctx, `INSERT INTO ohmkeep.verdict (site, run, source, taken, kind, name, rail, made, verdict, fails, ohms, low, high,
				limit_ohms, per_year, per_year_low, per_year_high, since, reaches)
				VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19) ON CONFLICT DO NOTHING`,
				s.siteID, s.run, v.Source, r.Taken.UnixNano(), string(v.Kind), v.Name, v.Rail.String(), v.Made, v.Verdict, v.Fails,
				finite(v.Ohms), finite(v.Low), finite(v.High), finite(v.Limit), finite(v.PerYear), finite(v.PerYearLow), finite(v.PerYearHigh),
				moment(v.Since), moment(v.Reaches)); err != nil {
				return err
			}
		}
		if _, err := s.db.Exec(ctx, "SELECT ohmkeep.judged($1, $2, $3, $4)", s.siteID, s.run, newestOf(r, firm.Assess), newestOf(r, firm.Drift)); err != nil {
			return err
		}
		_, err := s.db.Exec(ctx, "SELECT ohmkeep.received($1, $2, NULL, NULL, NULL)", s.siteID, s.run)
		return err
	})
}

// newestOf returns when verdicts of a source were found; NULL if there are none.
func newestOf(r ship.Description, source string) any {
	for _, v := range r.Verdicts {
		if v.Source == source {
			return r.Taken.UnixNano()
		}
	}
	return nil
}

// finite returns a number as a parameter; NULL for infinite ones and NaN.
func finite(x float64) any {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return x
}

// moment returns a time as a parameter; NULL for zero.
func moment(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UnixNano()
}
