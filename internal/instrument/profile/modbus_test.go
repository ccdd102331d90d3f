package profile_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
)

const slaveProfile = `name = "m"
title = "M"
kind = "modbus"
[port]
baud = 9600
[modbus]
timeout_milliseconds = 300
every_milliseconds = 2000
[[modbus.register]]
id = "volts"
function = "input"
address = 258
type = "int32"
word_order = "low first"
scale = 0.0025
unit = "mV"
bad = [-1, 2147483647]
highest = 60000
[[modbus.register]]
id = "amps"
function = "holding"
address = 65535
scale = 10
unit = "A"
`

func TestModbusRegisters(t *testing.T) {
	p, err := profile.Parse("m.toml", []byte(slaveProfile))
	if err != nil {
		t.Fatal(err)
	}
	r := p.Registers
	if r.Timeout != 300*time.Millisecond || r.Every != 2*time.Second || p.Interval() != r.Every || len(r.Values) != 2 {
		t.Fatalf("%+v", r)
	}
	want := profile.RegisterValue{Channel: "volts", Quantity: run.Voltage, Function: 4, Address: 258, Type: profile.Int32, LowFirst: true,
		Factor: 25, Decimals: 4, Unit: "mV", Bad: []int64{-1, 2147483647}, Lowest: r.Values[0].Lowest, Highest: 60000}
	if !reflect.DeepEqual(r.Values[0], want) {
		t.Errorf("%+v", r.Values[0])
	}
	if v := r.Values[1]; v.Function != 3 || v.Quantity != run.Current || v.Type != profile.Uint16 || v.Factor != 10 || v.Decimals != 0 {
		t.Errorf("%+v", v)
	}
}

func TestModbusFaults(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"[modbus]\ntimeout_milliseconds = 300\nevery_milliseconds = 2000\n" + slaveProfile[strings.Index(slaveProfile, "[[modbus"):], "", "m.toml: modbus: is missing"},
		{`kind = "modbus"`, `kind = "lines"`, "modbus: has no meaning in a profile of kind lines"},
		{`function = "input"`, `function = "coil"`, `m.toml:11: modbus.register.function: "coil" is not one of holding, input`},
		{"address = 258\n", "", "m.toml:9: modbus.register.address: is missing"},
		{"address = 258", "address = 65535", "m.toml:12: modbus.register.address: 65535 has no register after it"},
		{"address = 258", "address = 65536", "65536 is not between 0 and 65535"},
		{`type = "int32"`, `type = "int64"`, `"int64" is not one of uint16, int16, uint32, int32, float32`},
		{`type = "int32"`, `type = "int16"`, "m.toml:14: modbus.register.word_order: has no meaning for one register"},
		{"scale = 0.0025", "scale = 0.12345678901", "m.toml:15: modbus.register.scale: 0.12345678901 has more than nine digits"},
		{"scale = 0.0025", "scale = 0", "scale: 0 is not above 0"},
		{`unit = "mV"`, `unit = "W"`, `m.toml:16: modbus.register.unit: "W" is not a known unit`},
		{"bad = [-1, 2147483647]", "bad = [0.5]", "m.toml:17: modbus.register.bad: is a number, not a whole number"},
		{"highest = 60000", "highest = 1\nlowest = 1", "lowest: is not below highest"},
		{"id = \"amps\"", "id = \"volts\"\nscal = 1", "modbus.register.scal: is not known here"},
		{"id = \"amps\"\nfunction = \"holding\"\naddress = 65535\nscale = 10\nunit = \"A\"", "id = \"volts\"\nfunction = \"input\"\naddress = 1\nunit = \"V\"",
			`m.toml:20: modbus.register.id: "volts" has a register for its voltage already`},
	} {
		changed := strings.Replace(slaveProfile, c.old, c.new, 1)
		if changed == slaveProfile {
			t.Fatalf("%q changes nothing", c.old)
		}
		if _, err := profile.Parse("m.toml", []byte(changed)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: got %v, want %q in it", c.new, err, c.want)
		}
	}
}
