// Package register turns the register words of current and power sensors of the INA
// family into SI values: INA219, INA226 and INA228.
//
// A word is the content of a register, most significant byte first. Results are in V, A, W and
// °C; the caller supplies the shunt's resistance. Values that a chip computes itself (its current
// and power registers) depend on the calibration written into it; the shunt voltage does not.
//
// Sources: INA219 SBOS448F, INA226 SBOS547 (June 2011), INA228 by its twin for SPI,
// the INA229 SLYS023A, table 8-4, and the INA228-Q1 ZHCSLF8A, table 8-1. The flags of
// the INA226's register 06h and the INA228's 0Bh are from public drivers that restate
// the datasheets. The package knows no bus, no line and no clock.
package register

// Measure is what a register holds.
type Measure int

const (
	ShuntVolts Measure = iota // across the shunt
	BusVolts
	Celsius // of the chip
	Amps    // as the chip computes it, in units of its current LSB
	Watts   // likewise
	Flags   // no value; flags that state whether the other registers are valid
)

// Register is one register of a chip.
type Register struct {
	Name    string
	Address byte
	Measure Measure
	Bits    int // of a word
	Shift   int // how far the value lies above the word's lowest bit
	Signed  bool
	LSB     float64 // SI value of one count; of Amps and Watts per ampere of current LSB
	// Counts below Lowest and above Highest mean that the scale is at its end.
	Lowest, Highest int64
	// Spare is the bits of a word that always read 0.
	Spare uint32
	flags []flag
}

// Chip is one kind of sensor.
type Chip struct {
	Name      string
	Registers []Register
}

// flag is a bit that reports whether values are valid.
type flag struct {
	bit          uint32
	troubleState bool // the state of the bit that means trouble
	trouble      Trouble
}

// The ends of signed registers, which mean that there may be more.
const (
	end16 = 1<<15 - 1
	end20 = 1<<19 - 1
)

// chips in the order in which messages list them.
var chips = []Chip{
	{Name: "ina219", Registers: []Register{
		// ±320 mV, the range after reset; the smaller ones end at 40, 80 and 160 mV.
		{Name: "shunt", Address: 0x01, Measure: ShuntVolts, Bits: 16, Signed: true, LSB: 10e-6, Lowest: -31999, Highest: 31999},
		// 32 V is 1F40h = 8000. CNVR and OVF are in the lowest bits.
		{Name: "bus", Address: 0x02, Measure: BusVolts, Bits: 16, Shift: 3, LSB: 4e-3, Highest: 7999, Spare: 0x4,
			flags: []flag{{0x1, true, Overflow}, {0x2, false, NotReady}}},
		{Name: "power", Address: 0x03, Measure: Watts, Bits: 16, LSB: 20, Highest: 1<<16 - 2},
		{Name: "current", Address: 0x04, Measure: Amps, Bits: 16, Signed: true, LSB: 1, Lowest: -end16, Highest: end16 - 1},
	}},
	{Name: "ina226", Registers: []Register{
		{Name: "shunt", Address: 0x01, Measure: ShuntVolts, Bits: 16, Signed: true, LSB: 2.5e-6, Lowest: -end16, Highest: end16 - 1},
		{Name: "bus", Address: 0x02, Measure: BusVolts, Bits: 16, Signed: true, LSB: 1.25e-3, Highest: end16 - 1},
		{Name: "power", Address: 0x03, Measure: Watts, Bits: 16, LSB: 25, Highest: 1<<16 - 2},
		{Name: "current", Address: 0x04, Measure: Amps, Bits: 16, Signed: true, LSB: 1, Lowest: -end16, Highest: end16 - 1},
		// OVF and CVRF.
		{Name: "flags", Address: 0x06, Measure: Flags, Bits: 16, flags: []flag{{1 << 2, true, Overflow}, {1 << 3, false, NotReady}}},
	}},
	ina228("ina228", 312.5e-9),
	// The same chip with ADCRANGE = 1, ±40.96 mV.
	ina228("ina228-40mV", 78.125e-9),
}

func ina228(name string, shuntLSB float64) Chip {
	const spare = 0xF // 20-bit values lie in bits 23 to 4
	return Chip{Name: name, Registers: []Register{
		{Name: "shunt", Address: 0x04, Measure: ShuntVolts, Bits: 24, Shift: 4, Signed: true, LSB: shuntLSB, Lowest: -end20, Highest: end20 - 1, Spare: spare},
		{Name: "bus", Address: 0x05, Measure: BusVolts, Bits: 24, Shift: 4, Signed: true, LSB: 195.3125e-6, Highest: end20 - 1, Spare: spare},
		{Name: "temperature", Address: 0x06, Measure: Celsius, Bits: 16, Signed: true, LSB: 7.8125e-3, Lowest: -end16, Highest: end16 - 1},
		{Name: "current", Address: 0x07, Measure: Amps, Bits: 24, Shift: 4, Signed: true, LSB: 1, Lowest: -end20, Highest: end20 - 1, Spare: spare},
		{Name: "power", Address: 0x08, Measure: Watts, Bits: 24, LSB: 3.2, Highest: 1<<24 - 2},
		// MATHOF, CNVRF and MEMSTAT. The limit and accumulator flags are of nothing that is read here.
		{Name: "flags", Address: 0x0B, Measure: Flags, Bits: 16, flags: []flag{
			{1 << 0, false, Corrupt}, {1 << 9, true, Overflow}, {1 << 1, false, NotReady}}},
	}}
}

// Names are the names of the chips.
func Names() []string {
	names := make([]string, len(chips))
	for i, c := range chips {
		names[i] = c.Name
	}
	return names
}

// Find returns a chip by its name.
func Find(name string) (Chip, bool) {
	for _, c := range chips {
		if c.Name == name {
			return c, true
		}
	}
	return Chip{}, false
}

// Register returns a register by its name.
func (c Chip) Register(name string) (Register, bool) {
	for _, r := range c.Registers {
		if r.Name == name {
			return r, true
		}
	}
	return Register{}, false
}
