package tables

import (
	"errors"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/sqlitefile"
)

// Damage is what could not be read. It is reported after what could be read.
type Damage struct {
	Chunks      int   // lost
	Readings    int64 // in those, as far as known
	Commits     int   // lost from the tail
	Series      int   // of which more chunks may be lost; their number is unknown
	First, Last int64 // period of the lost chunks, ns since 1970
}

// Lost adds a lost chunk.
func (d *Damage) Lost(c Chunk) {
	if d.Chunks == 0 {
		d.First, d.Last = c.First, c.Last
	}
	d.First, d.Last = min(d.First, c.First), max(d.Last, c.Last)
	d.Chunks++
	d.Readings += int64(c.N)
}

// Any reports whether anything was lost.
func (d *Damage) Any() bool { return d.Chunks > 0 || d.Commits > 0 || d.Series > 0 }

// Broken reports whether an error is caused by damaged data and reading can continue after it.
func Broken(err error) bool { return errors.Is(err, chunk.ErrDamaged) || sqlitefile.Damaged(err) }
