package jsondoc

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"ohmkeep/internal/advise/interval"
)

// schema is the version of every document; keys may be added without a new one.
const schema = 1

// Number is a quantity in SI units, or in the unit that its key names. It is written
// with seven significant digits, finer than any meter; what is not finite is null.
type Number float64

// MarshalJSON writes the number, or null.
func (n Number) MarshalJSON() ([]byte, error) { return appendNumber(nil, float64(n)), nil }

// UnmarshalJSON reads a number; null is NaN.
func (n *Number) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*n = Number(math.NaN())
		return nil
	}
	return json.Unmarshal(text, (*float64)(n))
}

func appendNumber(to []byte, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return append(to, "null"...)
	}
	if v == 0 {
		return append(to, '0') // and never -0
	}
	return strconv.AppendFloat(to, v, 'g', 7, 64)
}

// milli returns ohms in milliohms.
func milli(ohms float64) Number { return Number(ohms * 1000) }

// optional returns a number whose key is left out where the number is NaN.
func optional(n Number) *Number {
	if math.IsNaN(float64(n)) {
		return nil
	}
	return &n
}

// Interval is a value with its 95 % interval.
type Interval struct {
	Value Number  `json:"value"`
	Low   *Number `json:"low,omitempty"` // left out where the value was not fitted to readings
	High  *Number `json:"high,omitempty"`
}

// intervalOf returns an interval multiplied by a factor, with its ends where it has any.
func intervalOf(i interval.Interval, factor float64, ends bool) Interval {
	out := Interval{Value: Number(factor * i.Value)}
	if ends {
		low, high := Number(factor*i.Low), Number(factor*i.High)
		out.Low, out.High = &low, &high
	}
	return out
}

// Date is a moment as in RFC 3339, in UTC; the zero time is null.
type Date time.Time

// MarshalJSON writes the moment to the second, or null.
func (d Date) MarshalJSON() ([]byte, error) {
	if time.Time(d).IsZero() {
		return []byte("null"), nil
	}
	return strconv.AppendQuote(nil, time.Time(d).UTC().Format(time.RFC3339)), nil
}

// UnmarshalJSON reads a moment or null.
func (d *Date) UnmarshalJSON(text []byte) error { return json.Unmarshal(text, (*time.Time)(d)) }

// list converts each item; the result is never nil, so that it is never null.
func list[T, U any](items []T, as func(T) U) []U {
	out := make([]U, 0, len(items))
	for _, item := range items {
		out = append(out, as(item))
	}
	return out
}

// texts returns a list that is never null.
func texts(items []string) []string { return append([]string{}, items...) }

// write writes a document on one line.
func write(w io.Writer, what string, document any) error {
	b, err := json.Marshal(document)
	if err == nil {
		_, err = w.Write(append(b, '\n'))
	}
	if err != nil {
		return fmt.Errorf("%s as JSON: %w", what, err)
	}
	return nil
}
