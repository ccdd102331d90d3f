package register_test

import (
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/register"
)

func find(t *testing.T, chip, name string) register.Register {
	t.Helper()
	c, ok := register.Find(chip)
	if !ok {
		t.Fatalf("no chip %s", chip)
	}
	r, ok := c.Register(name)
	if !ok {
		t.Fatalf("%s has no register %s", chip, name)
	}
	return r
}

// The worked examples of the datasheets. currentLSB is the example's, in amperes.
func TestWorkedExamples(t *testing.T) {
	const milliamp, tenAmps = 1e-3, 10.0 / (1 << 19)
	for _, c := range []struct {
		chip, register string
		word           string
		counts         int64
		currentLSB, si float64
	}{
		// INA226, SBOS547 (June 2011), table 1: 10 A at 12 V over 2 mΩ, 1 mA a bit.
		{"ina226", "shunt", "1F40", 8000, 0, 20e-3},
		{"ina226", "bus", "2570", 9584, 0, 11.98},
		{"ina226", "current", "2710", 10000, milliamp, 10},
		{"ina226", "power", "12B8", 4792, milliamp, 119.8}, // 4792 × 25 mW; printed as 119.82 W
		// INA226, SBOS547, text of the shunt voltage register: −80 mV.
		{"ina226", "shunt", "8300", -32000, 0, -80e-3},
		// INA219, SBOS448F, table 3: 10 A at 12 V over 2 mΩ, 1 mA a bit; the bus word is shifted by 3.
		{"ina219", "shunt", "07D0", 2000, 0, 20e-3},
		{"ina219", "bus", "5D98", 2995, 0, 11.98},
		{"ina219", "current", "2710", 10000, milliamp, 10},
		{"ina219", "power", "1766", 5990, milliamp, 119.8},
		// INA228, as its SPI twin INA229, SLYS023A, table 8-4: 6 A at 48 V over 16.2 mΩ, 10 A / 2^19.
		{"ina228", "shunt", "4BF000", 311040, 0, 97.2e-3},
		{"ina228", "bus", "3C0000", 245760, 0, 48},
		{"ina228", "current", "4CCCC0", 314572, tenAmps, 6},
		{"ina228", "power", "48000C", 4718604, tenAmps, 288},
		{"ina228", "temperature", "0C80", 3200, 0, 25},
		// The same sheet: −97.2 mV are B4100h in 20 bits.
		{"ina228", "shunt", "B41000", -311040, 0, -97.2e-3},
		// ADCRANGE = 1 makes a count a quarter: INA228-Q1, ZHCSLF8A, table 8-1.
		{"ina228-40mV", "shunt", "4BF000", 311040, 0, 24.3e-3},
	} {
		r := find(t, c.chip, c.register)
		word, err := register.ParseWord(c.word, 16, r.Bits)
		if err != nil {
			t.Error(err)
			continue
		}
		counts, err := r.Counts(word)
		if err != nil || counts != c.counts {
			t.Errorf("%s %s %s: %d counts, %v, want %d", c.chip, c.register, c.word, counts, err, c.counts)
		}
		if r.Saturated(counts) {
			t.Errorf("%s %s: an example is saturated", c.chip, c.register)
		}
		lsb := r.LSB
		if c.currentLSB > 0 {
			lsb *= c.currentLSB
		}
		// The sheets print three to five digits.
		if got := float64(counts) * lsb; math.Abs(got-c.si) > 1e-5*math.Abs(c.si) {
			t.Errorf("%s %s %s: %g, want %g", c.chip, c.register, c.word, got, c.si)
		}
	}
}

// INA219, FROM MEMORY (SBOS448, shunt voltage register, PGA /8): −320 mV = 8300h, the
// end of the scale. The others: the register's width in two's complement.
func TestSaturated(t *testing.T) {
	for _, c := range []struct {
		chip, register, word string
		want                 bool
	}{
		{"ina219", "shunt", "8300", true}, {"ina219", "shunt", "8301", false},
		{"ina219", "shunt", "7D00", true}, {"ina219", "shunt", "7CFF", false},
		{"ina219", "bus", "FA02", true}, {"ina219", "bus", "F9FA", false}, // 1F40h and 1F3Fh, shifted, with CNVR
		{"ina226", "shunt", "7FFF", true}, {"ina226", "shunt", "7FFE", false},
		{"ina226", "shunt", "8000", true}, {"ina226", "shunt", "8001", false},
		{"ina226", "bus", "7FFF", true}, {"ina226", "bus", "7FFE", false},
		{"ina226", "bus", "FFFF", true}, // what a bus without a chip reads; a bus voltage has no negative side
		{"ina226", "current", "7FFF", true},
		{"ina228", "shunt", "7FFFF0", true}, {"ina228", "shunt", "7FFFE0", false},
		{"ina228", "shunt", "800000", true}, {"ina228", "shunt", "800010", false},
		{"ina228", "bus", "7FFFF0", true}, {"ina228", "bus", "FFFFF0", true},
		{"ina228", "temperature", "7FFF", true}, {"ina228", "current", "800000", true},
	} {
		r := find(t, c.chip, c.register)
		word, err := register.ParseWord(c.word, 16, r.Bits)
		if err != nil {
			t.Fatal(err)
		}
		counts, err := r.Counts(word)
		if err != nil || r.Saturated(counts) != c.want {
			t.Errorf("%s %s %s = %d: saturated %v, %v", c.chip, c.register, c.word, counts, !c.want, err)
		}
	}
}

func TestTrouble(t *testing.T) {
	for _, c := range []struct {
		chip, register string
		word           uint32
		want           register.Trouble
	}{
		// SBOS448F, bus voltage register: bit 1 CNVR, bit 0 OVF.
		{"ina219", "bus", 0x5D9A, register.None},
		{"ina219", "bus", 0x5D98, register.NotReady},
		{"ina219", "bus", 0x5D9B, register.Overflow},
		{"ina219", "bus", 0x5D99, register.Overflow}, // the overflow is the worse of the two
		{"ina226", "flags", 0x0008, register.None},
		{"ina226", "flags", 0x0000, register.NotReady},
		{"ina226", "flags", 0x000C, register.Overflow},
		{"ina226", "flags", 0x8018, register.None}, // an alert of a limit says nothing of the value
		{"ina228", "flags", 0x0003, register.None},
		{"ina228", "flags", 0x0001, register.NotReady},
		{"ina228", "flags", 0x0203, register.Overflow},
		{"ina228", "flags", 0x0202, register.Corrupt},
		{"ina228", "flags", 0x0C43, register.None}, // accumulators and limits
		{"ina226", "bus", 0xFFFF, register.None},   // a register without flags
	} {
		if got := find(t, c.chip, c.register).Trouble(c.word); got != c.want {
			t.Errorf("%s %s %04Xh: %v, want %v", c.chip, c.register, c.word, got, c.want)
		}
	}
}

func TestParseWord(t *testing.T) {
	for _, c := range []struct {
		text       string
		base, bits int
		want       uint32
		fault      string
	}{
		{"1F40", 16, 16, 0x1F40, ""}, {"0x1f40", 16, 16, 0x1F40, ""}, {"1F40h", 16, 16, 0x1F40, ""}, {"0", 16, 16, 0, ""},
		{"8000", 10, 16, 8000, ""}, {"-32000", 10, 16, 0x8300, ""}, {"33536", 10, 16, 0x8300, ""}, {"-1", 10, 24, 0xFFFFFF, ""},
		{"FFFFFF", 16, 24, 0xFFFFFF, ""},
		{"10000", 16, 16, 0, "more than 16 bits"}, {"65536", 10, 16, 0, "more than 16 bits"}, {"-32769", 10, 16, 0, "more than 16 bits"},
		{"1F40", 10, 16, 0, "not a register word in base 10"}, {"", 16, 16, 0, "not a register word"}, {"0x", 16, 16, 0, "not a register word"},
		{"-1", 16, 16, 0, "not a register word"}, {"+1", 10, 16, 0, "not a register word"}, {"0xh", 16, 16, 0, "not a register word"},
		{"99999999999999999999", 10, 16, 0, "not a register word"},
	} {
		got, err := register.ParseWord(c.text, c.base, c.bits)
		if got != c.want || (err == nil) != (c.fault == "") || err != nil && !strings.Contains(err.Error(), c.fault) {
			t.Errorf("%q in base %d: %X, %v, want %X %s", c.text, c.base, got, err, c.want, c.fault)
		}
	}
}

// A word whose spare bits are set was shifted already, or is of another register.
func TestSpareBits(t *testing.T) {
	if _, err := find(t, "ina228", "shunt").Counts(311040 + 1); err == nil || !strings.Contains(err.Error(), "bits Fh always read 0") {
		t.Errorf("got %v", err)
	}
	if _, err := find(t, "ina219", "bus").Counts(0x5D9E); err == nil {
		t.Error("bit 2 of the bus register was taken")
	}
}

// Each count that a register can hold survives the conversion to its word and back.
func TestEveryWord(t *testing.T) {
	for _, name := range register.Names() {
		c, _ := register.Find(name)
		for _, r := range c.Registers {
			width := r.Bits - r.Shift
			lowest, highest := int64(0), int64(1)<<width-1
			if r.Signed {
				lowest, highest = -1<<(width-1), 1<<(width-1)-1
			}
			for counts := lowest; counts <= highest; counts += 1 + (highest-lowest)/4099 {
				word := uint32(counts<<r.Shift) & (1<<r.Bits - 1)
				if got, err := r.Counts(word); err != nil || got != counts {
					t.Fatalf("%s %s: %d became %d, %v", name, r.Name, counts, got, err)
				}
			}
		}
	}
	if _, ok := register.Find("ina999"); ok {
		t.Error("an unknown chip was found")
	}
	c, _ := register.Find("ina219")
	if _, ok := c.Register("flags"); ok || len(c.Registers) != 4 {
		t.Error("the INA219 has its flags in the bus register")
	}
}

func FuzzParseWord(f *testing.F) {
	f.Add("0x1F40", true)
	f.Add("-32000", false)
	f.Fuzz(func(t *testing.T, s string, hex bool) {
		base := 10
		if hex {
			base = 16
		}
		for _, bits := range []int{16, 24} {
			if word, err := register.ParseWord(s, base, bits); err == nil && word >= 1<<bits {
				t.Errorf("%q gives %X", s, word)
			}
		}
	})
}
