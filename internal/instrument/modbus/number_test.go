package modbus

import (
	"math"
	"testing"

	"ohmkeep/internal/instrument/profile"
)

// A register keeps the digits that a display shows; 32 bits come in either order of words.
func TestText(t *testing.T) {
	hundredths := profile.RegisterValue{Factor: 1, Decimals: 2}
	with := func(kind profile.RegisterType, change func(*profile.RegisterValue)) profile.RegisterValue {
		v := hundredths
		v.Type, v.Lowest, v.Highest = kind, math.MinInt64, math.MaxInt64
		if change != nil {
			change(&v)
		}
		return v
	}
	low := func(v *profile.RegisterValue) { v.LowFirst = true }
	unscaled := func(v *profile.RegisterValue) { v.Decimals = 0 }
	for _, c := range []struct {
		v      profile.RegisterValue
		words  []uint16
		text   string
		reason Reason
	}{
		{with(profile.Uint16, nil), []uint16{480}, "4.80", None},
		{with(profile.Uint16, nil), []uint16{7}, "0.07", None},
		{with(profile.Uint16, nil), []uint16{0}, "0.00", None},
		{with(profile.Uint16, nil), []uint16{65535}, "655.35", None},
		{with(profile.Int16, nil), []uint16{65535}, "-0.01", None},
		{with(profile.Int16, unscaled), []uint16{0x8000}, "-32768", None},
		{with(profile.Uint16, func(v *profile.RegisterValue) { v.Factor, v.Decimals = 125, 5 }), []uint16{3850}, "4.81250", None}, // 1.25 mV
		{with(profile.Uint16, func(v *profile.RegisterValue) { v.Factor, v.Decimals = 10, 0 }), []uint16{12}, "120", None},
		{with(profile.Uint32, nil), []uint16{1, 2}, "655.38", None},
		{with(profile.Uint32, low), []uint16{2, 1}, "655.38", None},
		{with(profile.Int32, nil), []uint16{0xFFFF, 0xFFFE}, "-0.02", None},
		{with(profile.Float32, unscaled), []uint16{0x4048, 0xF5C3}, "3.14", None}, // IEEE 754: 4048F5C3h is the single nearest to 3.14
		{with(profile.Float32, nil), []uint16{0x4048, 0xF5C3}, "0.0314", None},
		{with(profile.Float32, low), []uint16{0, 0xC000}, "-0.02", None}, // C0000000h is -2
		{with(profile.Float32, nil), []uint16{0x7FC0, 0}, "NaN", Marked},
		{with(profile.Float32, nil), []uint16{0x7F80, 0}, "+Inf", Marked},
		{with(profile.Uint16, func(v *profile.RegisterValue) { v.Bad = []int64{0x7FFF, 0xFFFF} }), []uint16{0xFFFF}, "65535", Marked},
		{with(profile.Float32, func(v *profile.RegisterValue) { v.Bad = []int64{-2} }), []uint16{0xC000, 0}, "-2", Marked},
		{with(profile.Uint16, func(v *profile.RegisterValue) { v.Highest = 1000 }), []uint16{1001}, "1001", Saturated},
		{with(profile.Int16, func(v *profile.RegisterValue) { v.Lowest = -5 }), []uint16{0xFFFA}, "-6", Saturated},
	} {
		if text, reason := Text(c.v, c.words); text != c.text || reason != c.reason {
			t.Errorf("%v %x: %q, %d; want %q, %d", c.v.Type, c.words, text, reason, c.text, c.reason)
		}
	}
}
