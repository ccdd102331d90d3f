package store

import (
	"context"
	"database/sql"

	"ohmkeep/internal/store/internal/decimal"
	"ohmkeep/internal/store/internal/tables"
)

// Correct says that counts of the selected channels stand for something else than
// was said when they were taken, because a shunt turned out to be another one.
// Only channels whose Scale was given as was are touched; their counts are left
// as they are, and hours whose readings are gone are corrected too. "" as
// the scale goes back to what was said first. It returns how many series there were.
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
		return nil
	})
	return corrected, err
}

// ScaleFits reports whether a text can be a channel's scale.
func ScaleFits(text string) bool {
	_, err := decimal.ParseScale(text)
	return err == nil
}

// CorrectAll is Correct for selected channels of any scale. It returns those
// that were changed, each with the scale that it had.
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
				to = "" // as it was said first
			}
			if err := tables.Correct(ctx, tx, of.ID, to); err != nil {
				return err
			}
			corrected = append(corrected, *was)
		}
		return nil
	})
	return corrected, err
}
