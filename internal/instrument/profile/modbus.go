package profile

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

// Registers are the values of a Modbus slave and how it is asked for them.
type Registers struct {
	Timeout time.Duration // for one answer
	Every   time.Duration // from one reading of all values to the next, where the run file states none
	Values  []RegisterValue
}

// RegisterValue is a number in one or two registers of 16 bits.
type RegisterValue struct {
	Channel  string
	Quantity run.Quantity
	Function int // of the request: 3 reads holding registers, 4 input registers
	Address  int // of the first register, from 0 as in the message
	Type     RegisterType
	LowFirst bool // the register of the low 16 bits is the first of the two
	// The number in Unit is the register's times Factor / 10^Decimals.
	Factor   int64
	Decimals int
	Unit     string
	Bad      []int64 // register contents that mean that there is no value
	// Contents beyond which the value is saturated.
	Lowest, Highest int64
}

// RegisterType is how registers hold a number.
type RegisterType int

const (
	Uint16 RegisterType = iota
	Int16
	Uint32
	Int32
	Float32 // IEEE 754 single precision
)

var registerTypes = []string{"uint16", "int16", "uint32", "int32", "float32"}

// Words returns the number of registers.
func (t RegisterType) Words() int {
	if t < Uint32 {
		return 1
	}
	return 2
}

// functions are the Modbus functions that read registers, from number 3 on.
var functions = []string{"holding", "input"}

func parseRegisters(root, t *toml.Table, ok bool) Registers {
	if !ok {
		root.Missing("modbus", "which registers are read")
		return Registers{}
	}
	r := Registers{Timeout: milliseconds(t, "timeout_milliseconds", 1000, 1), Every: milliseconds(t, "every_milliseconds", 1000, 10)}
	values := t.Tables("register")
	if len(values) == 0 {
		t.Missing("register", "begin each value that is read with [[modbus.register]]")
	}
	for _, v := range values {
		one := parseRegisterValue(v)
		if slices.ContainsFunc(r.Values, func(other RegisterValue) bool {
			return other.Channel == one.Channel && other.Quantity == one.Quantity
		}) {
			v.Fault("id", fmt.Sprintf("%q has a register for its %s already", one.Channel, one.Quantity), "")
		}
		r.Values = append(r.Values, one)
	}
	return r
}

func parseRegisterValue(t *toml.Table) RegisterValue {
	v := RegisterValue{Channel: requiredText(t, "id", "the channel in the run file"), Factor: 1}
	function, _ := indexIn(t, "function", functions, "")
	v.Function = function + 3
	if !t.Has("address") {
		t.Missing("address", "of the first register, from 0 as in the message")
	}
	v.Address = intInRange(t, "address", 0, 0, 65535)
	kind, _ := indexIn(t, "type", registerTypes, "uint16")
	v.Type = RegisterType(kind)
	if v.Address+v.Type.Words() > 65536 {
		t.Fault("address", fmt.Sprintf("%d has no register after it", v.Address), "")
	}
	order, ordered := indexIn(t, "word_order", []string{"high first", "low first"}, "high first")
	v.LowFirst = order == 1
	if ordered && t.Has("word_order") && v.Type.Words() == 1 {
		t.Fault("word_order", "has no meaning for one register", `it is for type = "uint32", "int32" and "float32"`)
	}
	v.Unit = requiredText(t, "unit", "V, mV, uV, A, mA, uA or degC")
	quantity, known := UnitQuantity(v.Unit)
	if v.Unit != "" && !known {
		t.Fault("unit", fmt.Sprintf("%q is not a known unit", v.Unit), fault.Suggest(v.Unit, unitNames))
	}
	v.Quantity = quantity
	if t.Has("scale") {
		if x := requiredNumber(t, "scale", true); x > 0 {
			var fits bool
			if v.Factor, v.Decimals, fits = decimalFactor(x); !fits {
				t.Fault("scale", fmt.Sprintf("%g has more than nine digits", x), "such as 0.01")
			}
		}
	}
	v.Bad, _ = t.Wholes("bad")
	v.Lowest, v.Highest = parseEnds(t, math.MinInt64, math.MaxInt64)
	return v
}

// decimalFactor returns a number above 0 as factor / 10^decimals; ok is false where that takes
// more than nine digits.
func decimalFactor(x float64) (factor int64, decimals int, ok bool) {
	digits, exponent, _ := strings.Cut(strconv.FormatFloat(x, 'e', -1, 64), "e")
	whole, fraction, _ := strings.Cut(digits, ".")
	power, _ := strconv.Atoi(exponent)
	factor, err := strconv.ParseInt(whole+fraction, 10, 64)
	for decimals = len(fraction) - power; decimals < 0 && factor < 1e9; decimals++ {
		factor *= 10
	}
	return factor, decimals, err == nil && factor < 1e9 && decimals >= 0 && decimals <= 9
}
