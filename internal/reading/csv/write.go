package csv

import (
	"encoding/csv"
	"fmt"
	"io"
	"iter"
	"time"

	"ohmkeep/internal/reading"
)

// Write writes readings in the format that Parse reads: the columns in their order, lines ended by
// LF, numbers and units as they were written, each time at its own offset with as many decimals as
// it needs (to the nanosecond). A written file, read and written again, is identical.
func Write(w io.Writer, readings []reading.Reading) error {
	return WriteSeq(w, func(yield func(reading.Reading, error) bool) {
		for _, x := range readings {
			if !yield(x, nil) {
				return
			}
		}
	})
}

// WriteSeq is like Write for readings that do not fit into memory. It ends at the first error of
// the sequence and returns it, after writing all readings before it.
func WriteSeq(w io.Writer, readings iter.Seq2[reading.Reading, error]) error {
	out := csv.NewWriter(w)
	row := append([]string(nil), columns...)
	if err := out.Write(row); err != nil {
		return fmt.Errorf("write readings: %w", err)
	}
	for x, err := range readings {
		if err != nil {
			out.Flush()
			return err
		}
		row[timeColumn] = x.Time.Format(time.RFC3339Nano)
		row[stepColumn] = x.Step
		row[quantityColumn] = x.Quantity.String()
		row[fromColumn], row[toColumn] = x.From, x.To
		row[valueColumn], row[unitColumn] = x.Text, x.Unit
		row[meterColumn] = x.Meter
		if err := out.Write(row); err != nil {
			return fmt.Errorf("write readings: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write readings: %w", err)
	}
	return nil
}
