package tables

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store/internal/decimal"
)

// Texts is the form of a series whose numbers are stored as written.
const Texts = "text"

// Key identifies a series: the properties that all its readings share. Keys can be compared with
// ==.
type Key struct {
	Run      int64
	Probe    string // "" = imported or taken by hand
	Step     string
	Quantity run.Quantity
	From, To string
	Unit     string
	Meter    string
	Form     string // a decimal.Form as a string, or Texts
	Scale    string // a decimal.Scale for counts of a register; "" = numbers as written
}

// Identity returns a checksum of all names of the place of readings. Blocks are sealed with it, so
// that readings are never taken for those of another place, even if the numbers of series or runs
// are damaged.
func (k *Key) Identity(runName string) uint64 {
	h := sha256.New()
	for _, text := range []string{runName, k.Probe, k.Step, k.Quantity.String(), k.From, k.To, k.Unit, k.Meter, k.Form, k.Scale} {
		fmt.Fprintf(h, "%d:%s", len(text), text)
	}
	return binary.LittleEndian.Uint64(h.Sum(nil))
}

// Check returns an error if a key is not valid.
func (k *Key) Check() error {
	s := Series{Key: *k}
	return s.complete()
}

// Series is a stored series.
type Series struct {
	ID       int64
	Identity uint64 // see Key.Identity
	Key
	Corrected string // the scale that is right instead of the key's; "" = none

	form  decimal.Form
	scale *decimal.Scale
	per   float64 // how many of its units make one SI unit
	ratio float64 // of the corrected scale to the key's; 1 where none is corrected
}

// complete computes the factors that convert counts of a series to values.
func (s *Series) complete() (err error) {
	var ok bool
	if s.per, ok = reading.PerSI(s.Quantity, s.Unit); !ok {
		return fmt.Errorf("stored series %d: a %s is not given in %q", s.ID, s.Quantity, s.Unit)
	}
	if s.Form != Texts {
		if s.form, err = decimal.ParseForm(s.Form); err != nil {
			return fmt.Errorf("stored series %d: %w", s.ID, err)
		}
	}
	s.ratio = 1
	if s.Scale == "" {
		return nil
	}
	scale, err := decimal.ParseScale(s.Scale)
	if err == nil && s.Corrected != "" {
		first := scale
		scale, err = decimal.ParseScale(s.Corrected)
		s.ratio = scale.Value(1) / first.Value(1)
	}
	if err != nil {
		return fmt.Errorf("stored series %d: %w", s.ID, err)
	}
	s.scale = &scale
	return nil
}

// Text returns a count as a number in the unit of the series: as it was written, or the register's
// counts times the value of one.
func (s *Series) Text(count int64) string {
	if s.scale != nil {
		return s.scale.Text(count)
	}
	return s.form.Text(count)
}

// Value returns the SI value of a count; °C for a temperature.
func (s *Series) Value(count int64) float64 {
	if s.scale != nil {
		return s.scale.Value(count) / s.per
	}
	return decimal.PowerOfTen(float64(count), s.form.Exponent()) / s.per
}

// Ratio returns the factor by which a correction has changed the values of a series.
func (s *Series) Ratio() float64 { return s.ratio }

// Mean returns the SI value of the mean of n counts with the given sum.
func (s *Series) Mean(sum int64, n int) float64 {
	mantissa, exponent := s.factor()
	return decimal.PowerOfTen(float64(sum)/float64(n)*mantissa, exponent) / s.per
}

// factor returns the value of one count in the unit of the series.
func (s *Series) factor() (mantissa float64, exponent int) {
	if s.scale != nil {
		return s.scale.Parts()
	}
	return 1, s.form.Exponent()
}

// Values appends the SI values of counts to dst. They are identical to those of Value.
func (s *Series) Values(dst []float64, counts []int64) []float64 {
	dst = slices.Grow(dst, len(counts))
	mantissa, exponent := s.factor()
	if -22 <= exponent && exponent <= 0 && s.per == 1 {
		power := decimal.PowerOfTen(1, -exponent)
		if mantissa == 1 {
			for _, c := range counts {
				dst = append(dst, float64(c)/power)
			}
			return dst
		}
		for _, c := range counts {
			dst = append(dst, float64(c)*mantissa/power)
		}
		return dst
	}
	for _, c := range counts {
		dst = append(dst, s.Value(c))
	}
	return dst
}

// Restore returns a series that is not in a store, so that counts can be converted to values.
func Restore(k Key) (*Series, error) {
	s := &Series{Key: k}
	return s, s.complete()
}
