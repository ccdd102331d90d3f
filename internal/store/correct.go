package store

import (
	"context"
	"database/sql"
	"time"

	"ohmkeep/internal/store/internal/decimal"
	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/tables"
)

// Correct sets another value per count for the selected channels, for example because the
// shunt had another resistance than the run file stated. It changes only channels whose
// original Scale is was. Their counts stay unchanged; hours whose readings were deleted are
// corrected too. The scale "" restores the original one. It returns the number of series
// that were changed.
func (s *Store) Correct(ctx context.Context, sel Selection, was, scale string) (corrected int, err error) {
	if scale != "" {
		if _, err := decimal.ParseScale(scale); err != nil {
			return 0, err
		}
	}
	err = s.db.Update(ctx, func(tx *sql.Tx) error {
		series, err := sel.series(ctx, tx)
		if err != nil {
			return err
		}
		corrected = 0
		for _, of := range series {
			if of.Scale == "" || of.Scale != was {
				continue
			}
			if err := tables.Correct(ctx, tx, of.ID, scale); err != nil {
				return err
			}
			corrected++
		}
		return noteCorrected(ctx, tx, sel.Run, corrected)
	})
	return corrected, err
}

// ScaleFits reports whether a text can be a channel's scale.
func ScaleFits(text string) bool {
	_, err := decimal.ParseScale(text)
	return err == nil
}

// CorrectAll is Correct for selected channels of any scale. It returns the changed
// channels, each with its previous scale.
func (s *Store) CorrectAll(ctx context.Context, sel Selection, scale string) (corrected []Channel, err error) {
	if _, err := decimal.ParseScale(scale); err != nil {
		return nil, err
	}
	err = s.db.Update(ctx, func(tx *sql.Tx) error {
		series, err := sel.series(ctx, tx)
		if err != nil {
			return err
		}
		corrected = nil
		for _, of := range series {
			was := channel(sel.Run, of)
			if of.Scale == "" || was.Scale == scale {
				continue
			}
			to := scale
			if scale == of.Scale {
				to = "" // the original one
			}
			if err := tables.Correct(ctx, tx, of.ID, to); err != nil {
				return err
			}
			corrected = append(corrected, *was)
		}
		return noteCorrected(ctx, tx, sel.Run, len(corrected))
	})
	return corrected, err
}

// noteCorrected notes that all readings of a run have changed, if any series was corrected.
func noteCorrected(ctx context.Context, tx *sql.Tx, runName string, corrected int) error {
	if corrected == 0 {
		return nil
	}
	runID, err := tables.FindRun(ctx, tx, runName)
	if err != nil {
		return err
	}
	return delivery.Changed(ctx, tx, runID, tables.Beginning, tables.End, time.Now())
}
