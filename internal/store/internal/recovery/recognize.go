package recovery

import (
	"context"
	"errors"

	"ohmkeep/internal/store/internal/pages"
	"ohmkeep/internal/store/internal/tables"
)

// errRecognized ends a scan.
var errRecognized = errors.New("recognized")

// Recognizes reports whether a file holds the row of a series, or of a chunk with the name of
// its series, as only a store does. It searches the first megabytes.
func Recognizes(path string) bool {
	src, err := pages.Open(path, tables.Schema.PageSize)
	if err != nil {
		return false
	}
	defer src.Close()
	v := newInventory()
	_, err = pages.Scan(context.Background(), front{src}, func(r pages.Row) error {
		if v.take(r); len(v.series) > 0 {
			return errRecognized
		}
		return nil
	})
	return errors.Is(err, errRecognized)
}

// front is the beginning of a database.
type front struct{ *pages.File }

const frontPages = 8192

// Count returns the number of pages.
func (f front) Count() int { return min(f.File.Count(), frontPages) }
