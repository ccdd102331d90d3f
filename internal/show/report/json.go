package report

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
)

// schema is the version of both outputs; keys may be added without a new one.
const schema = 1

// object is a JSON object that keeps the order of its keys.
type object []member

type member struct {
	key   string
	value any
}

// MarshalJSON writes the members in their order.
func (o object) MarshalJSON() ([]byte, error) {
	b := []byte{'{'}
	for i, m := range o {
		if i > 0 {
			b = append(b, ',')
		}
		value, err := encode(m.value)
		if err != nil {
			return nil, err
		}
		b = append(append(strconv.AppendQuote(b, m.key), ':'), value...)
	}
	return append(b, '}'), nil
}

// array is a JSON array; it is never null.
type array []any

// MarshalJSON writes the items in their order.
func (a array) MarshalJSON() ([]byte, error) {
	b := []byte{'['}
	for i, item := range a {
		if i > 0 {
			b = append(b, ',')
		}
		value, err := encode(item)
		if err != nil {
			return nil, err
		}
		b = append(b, value...)
	}
	return append(b, ']'), nil
}

// encode spares what writes itself the copying and checking at every level that
// encoding/json would do.
func encode(value any) ([]byte, error) {
	if m, ok := value.(json.Marshaler); ok {
		return m.MarshalJSON()
	}
	return json.Marshal(value)
}

// number rounds to seven significant digits, finer than any meter; null for
// what is not finite.
func number(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return json.RawMessage(appendNumber(nil, v))
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

func milli(v float64) any { return number(v * 1000) }

func list[T any](items []T, as func(T) any) array {
	out := make(array, 0, len(items))
	for _, item := range items {
		out = append(out, as(item))
	}
	return out
}

func write(w io.Writer, what string, o object) error {
	b, err := o.MarshalJSON()
	if err == nil {
		_, err = w.Write(append(b, '\n'))
	}
	if err != nil {
		return fmt.Errorf("%s as JSON: %w", what, err)
	}
	return nil
}

// AssessJSON writes an assessment as one JSON object on one line. The error is
// the writer's.
func AssessJSON(w io.Writer, a *assessment.Assessment) error { return ExplainJSON(w, a, nil) }

// ExplainJSON is AssessJSON with what the verdict on one element rests on, where that
// was asked for. The error is the writer's.
func ExplainJSON(w io.Writer, a *assessment.Assessment, x *assessment.Explanation) error {
	o := object{
		{"schema", schema}, {"run", wording.RunName(a.Run)},
		{"fit", object{{"converged", a.Fit.Converged}, {"chi_squared", number(a.Fit.ChiSquared)},
			{"degrees_of_freedom", a.Fit.DegreesOfFreedom}, {"p_value", number(a.Fit.PValue)}}},
		{"elements", list(a.Elements, elementJSON)},
		{"readings", list(byRow(a.Readings), readingJSON)},
		{"next", list(a.Next, func(n assessment.Next) any {
			return object{{"quantity", n.Quantity.String()}, {"from", n.From}, {"to", n.To}, {"step", n.Step}, {"meter", n.Meter},
				{"settles", list(n.Settles, func(s string) any { return s })}}
		})},
		{"findings", list(a.Findings, func(f assessment.Finding) any {
			return object{{"severity", f.Severity}, {"subject", f.Subject}, {"text", f.Text}}
		})},
	}
	if x != nil {
		o = append(o, member{"explanation", explanationJSON(x)})
	}
	return write(w, "assessment", o)
}

func elementJSON(e assessment.Element) any {
	unit := "milliohms"
	if e.Kind == run.KindReel {
		unit = "milliohms_per_metre"
	}
	ohms, high := e.Ohms, e.High
	if e.Open() {
		ohms, high = math.Inf(1), math.Inf(1)
	}
	o := object{{"kind", e.Kind}, {"name", e.Name}, {"rail", e.Rail}, {unit, milli(ohms)}, {"low", milli(e.Low)}, {"high", milli(high)}}
	if !math.IsNaN(e.Limit) {
		o = append(o, member{"limit_" + unit, milli(e.Limit)})
		if unit != "milliohms" { // the key that every row has, in the row's own unit
			o = append(o, member{"limit_milliohms", milli(e.Limit)})
		}
		over := e.Over
		if !e.Known { // that of an assumption would say nothing of the element
			over = math.NaN()
		}
		o = append(o, member{"probability_over_limit", number(over)})
	}
	if e.Verdict != assessment.None {
		o = append(o, member{"verdict", e.Verdict})
	}
	o = append(o, member{"known", e.Known})
	if e.Like != "" {
		o = append(o, member{"like", e.Like})
	}
	return append(o, member{"amps", number(e.Amps)}, member{"watts", number(e.Watts)})
}

// PredictJSON writes a prediction as one JSON object on one line. The error is
// the writer's.
func PredictJSON(w io.Writer, p *prediction.Prediction) error {
	carried := func(name string, amps, drop, ohms float64) any {
		return object{{"name", name}, {"amps", number(amps)}, {"drop_volts", number(drop)}, {"milliohms", milli(ohms)}}
	}
	return write(w, "prediction", object{
		{"schema", schema}, {"run", wording.RunName(p.Run)}, {"step", p.Step},
		{"supplies", list(p.Supplies, func(s prediction.Supply) any {
			return object{{"name", s.Name}, {"volts", number(s.Volts)}, {"amps", number(s.Amps)}}
		})},
		{"feeds", list(p.Feeds, func(f prediction.Feed) any { return carried(f.Name, f.Amps, f.Drop, f.Ohms) })},
		{"joints", list(p.Joints, func(j prediction.Joint) any { return carried(j.Name, j.Amps, j.Drop, j.Ohms) })},
		{"reels", list(p.Reels, func(r prediction.Reel) any {
			return object{{"name", r.Name}, {"pixels", pixels(r.Pixels)}}
		})},
		{"warnings", list(p.Warnings, func(s string) any { return s })},
	})
}

// pixels writes itself, because a run may have a million.
type pixels []prediction.Pixel

// MarshalJSON writes the pixels, numbered from 1.
func (p pixels) MarshalJSON() ([]byte, error) {
	b := make([]byte, 0, 2+80*len(p))
	b = append(b, '[')
	for i, x := range p {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendInt(append(b, `{"pixel":`...), int64(i+1), 10)
		b = appendNumber(append(b, `,"volts":`...), x.Volts)
		b = appendNumber(append(b, `,"plus":`...), x.Plus)
		b = appendNumber(append(b, `,"minus":`...), x.Minus)
		b = appendNumber(append(b, `,"milliamps":`...), x.Amps*1000)
		b = append(b, '}')
	}
	return append(b, ']'), nil
}
