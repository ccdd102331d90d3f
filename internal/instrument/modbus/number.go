package modbus

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"ohmkeep/internal/instrument/profile"
)

// Reason is why registers hold no value.
type Reason int

const (
	None      Reason = iota // there is a value
	Marked                  // the profile says that this content means no value
	Saturated               // beyond the profile's lowest or highest
)

// Text returns the number of registers in the unit of a profile's value, with the digits that the
// scale gives: 480 at 0.01 V is "4.80", as a display shows it. Without a value the text is what the
// registers hold.
func Text(v profile.RegisterValue, words []uint16) (text string, reason Reason) {
	raw := joinWords(v, words)
	if v.Type == profile.Float32 {
		return textOfFloat(v, math.Float32frombits(raw))
	}
	n := int64(raw)
	switch v.Type {
	case profile.Int16:
		n = int64(int16(raw))
	case profile.Int32:
		n = int64(int32(raw))
	}
	switch {
	case slices.Contains(v.Bad, n):
		return strconv.FormatInt(n, 10), Marked
	case n < v.Lowest || n > v.Highest:
		return strconv.FormatInt(n, 10), Saturated
	}
	return scaled(big.NewInt(n), 0, v), None
}

// joinWords returns the bits of a number in their order.
func joinWords(v profile.RegisterValue, words []uint16) uint32 {
	switch {
	case len(words) == 1:
		return uint32(words[0])
	case v.LowFirst:
		return uint32(words[1])<<16 | uint32(words[0])
	}
	return uint32(words[0])<<16 | uint32(words[1])
}

// textOfFloat writes a number of single precision with the fewest digits that name it.
func textOfFloat(v profile.RegisterValue, x float32) (text string, reason Reason) {
	shortest := strconv.FormatFloat(float64(x), 'f', -1, 32)
	switch {
	case math.IsNaN(float64(x)), math.IsInf(float64(x), 0):
		return shortest, Marked
	case slices.ContainsFunc(v.Bad, func(n int64) bool { return float32(n) == x }):
		return shortest, Marked
	case float64(x) < float64(v.Lowest) || float64(x) > float64(v.Highest):
		return shortest, Saturated
	}
	whole, fraction, _ := strings.Cut(shortest, ".")
	n, ok := new(big.Int).SetString(whole+fraction, 10)
	if !ok {
		return fmt.Sprint(x), Marked // FormatFloat has written digits only
	}
	return scaled(n, len(fraction), v), None
}

// scaled writes n / 10^decimals in the unit of a value, exactly.
func scaled(n *big.Int, decimals int, v profile.RegisterValue) string {
	n = new(big.Int).Mul(n, big.NewInt(v.Factor))
	decimals += v.Decimals
	digits := new(big.Int).Abs(n).String()
	if missing := decimals + 1 - len(digits); missing > 0 {
		digits = strings.Repeat("0", missing) + digits
	}
	text := digits[:len(digits)-decimals]
	if decimals > 0 {
		text += "." + digits[len(digits)-decimals:]
	}
	if n.Sign() < 0 {
		text = "-" + text
	}
	return text
}
