package register

import (
	"fmt"
	"strconv"
	"strings"
)

// Trouble is the reason why the values of a chip are not valid.
type Trouble int

// In ascending order of severity: the last one that applies is reported.
const (
	None     Trouble = iota
	NotReady         // no conversion was done since the registers were read last
	Overflow         // the chip's arithmetic overflowed: more current than it was set up for
	Corrupt          // the checksum of the chip's trim memory is wrong
)

func (t Trouble) String() string {
	return [...]string{"none", "the conversion is not ready", "the chip reports an overflow", "the chip's memory is corrupt"}[t]
}

// ParseWord reads a register's word. In base 16 it may begin with 0x or end in h;
// in base 10 it may be negative, as a program prints a signed word.
func ParseWord(text string, base, bits int) (uint32, error) {
	digits := text
	if base == 16 {
		digits = strings.TrimPrefix(strings.TrimPrefix(digits, "0x"), "0X")
		if digits == text {
			digits = strings.TrimSuffix(strings.TrimSuffix(digits, "h"), "H")
		}
	}
	n, err := strconv.ParseInt(digits, base, 64)
	switch {
	case err != nil || strings.HasPrefix(digits, "+") || base == 16 && strings.HasPrefix(digits, "-"):
		return 0, fmt.Errorf("%q is not a register word in base %d", text, base)
	case n >= 1<<bits || n < -1<<(bits-1):
		return 0, fmt.Errorf("%q has more than %d bits", text, bits)
	}
	return uint32(n) & (1<<bits - 1), nil
}

// Counts returns the value of a word in counts. A word that this register cannot hold is an error.
func (r Register) Counts(word uint32) (int64, error) {
	if word&r.Spare != 0 {
		return 0, fmt.Errorf("%Xh is not a word of register %s: its bits %Xh always read 0", word, r.Name, r.Spare)
	}
	if r.Signed {
		// Shifted up to the sign bit and back, so that the sign fills what is above it.
		return int64(int32(word<<(32-r.Bits))>>(32-r.Bits)) >> r.Shift, nil
	}
	return int64(word >> r.Shift), nil
}

// Saturated reports whether counts are at or beyond the end of the scale.
func (r Register) Saturated(counts int64) bool { return counts < r.Lowest || counts > r.Highest }

// Trouble returns the trouble that the flags in a word report for all values of the chip.
func (r Register) Trouble(word uint32) Trouble {
	worst := None
	for _, f := range r.flags {
		if (word&f.bit != 0) == f.troubleState {
			worst = max(worst, f.trouble)
		}
	}
	return worst
}
