package payload

import (
	"fmt"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

func values(samples []reading.Sample) string {
	var parts []string
	for _, s := range samples {
		text := s.Text + " " + s.Unit
		if !s.Good() {
			text = s.Quality.String()
		}
		parts = append(parts, s.Channel+" "+text)
	}
	return strings.Join(parts, ", ")
}

func TestJSON(t *testing.T) {
	m := profile.Messages{JSON: true, Values: []profile.MessageValue{
		{Channel: "a", Quantity: run.Voltage, Unit: "mV", Path: []string{"rail", "millivolts"}},
		{Channel: "b", Quantity: run.Current, Unit: "A", Path: []string{"list", "1"}, Bad: []string{"-999"}},
		{Channel: "c", Quantity: run.Temperature, Unit: "degC", Topic: "climate"},
	}}
	for _, c := range []struct{ topic, text, want string }{
		{"x", `{"rail": {"millivolts": 4810.0}, "list": [0, 2.310]}`, "a 4810.0 mV, b 2.310 A"},
		{"x", `{"rail": {"millivolts": "4810"}}`, "a 4810 mV"},
		{"x", `{"rail": {"millivolts": 1e3}}`, "a 1e3 mV"},
		{"x", `{"rail": {"millivolts": null}, "list": [0, -999]}`, "a faulty, b faulty"},
		{"x", `{"rail": {"millivolts": "OL"}}`, "a overload"},
		{"x/climate", `21.50`, "c 21.50 degC"},
		{"x/climate", ` "unavailable" `, "c faulty"},
		{"x/climate", `{}`, "error:  is not a number"},
		{"x", `{"rail": {"millivolts": true}}`, "error: rail.millivolts is not a number"},
		{"x", `{"rail": {"millivolts": "4,8"}}`, `error: channel a: "4,8" is not a decimal number`},
		{"x", `{"rail": {"millivolts": 1e40}}`, "error: channel a: 1e40 is not a measured value"},
		{"x", `{"rail": 3, "list": {"1": 1}}`, "b 1 A"},
		{"x", `{"list": [1]}`, "error: holds no value that the profile names"},
		{"x", `{"rail"`, "error: not a JSON text: unexpected EOF"},
		{"x", `{} {}`, "error: more than one JSON text"},
		{"y", `{}`, "error: holds no value that the profile names"},
		{"x", "[" + strings.Repeat(" ", maxPayload), "error: longer than 65536 bytes"},
	} {
		samples, err := Parse(m, "x", c.topic, []byte(c.text))
		got := values(samples)
		if err != nil {
			got = fmt.Sprint("error: ", err)
		}
		if got != c.want {
			t.Errorf("%s %.60s: %s, want %s", c.topic, c.text, got, c.want)
		}
	}
}

func TestText(t *testing.T) {
	m := profile.Messages{Values: []profile.MessageValue{{Quantity: run.Voltage, Unit: "V", Topic: "+/volts"}, {Channel: "t", Quantity: run.Temperature, Unit: "degC"}}}
	for _, c := range []struct{ topic, text, want string }{
		{"b/7/volts", "4.810\n", "7 4.810 V"},
		{"b", "-300", "error: channel t: -300 °C is below absolute zero"},
		{"b/7/volts", "", `error: channel 7: "" is not a decimal number`},
		{"b/7/volts", "0x10", `error: channel 7: "0x10" is not a decimal number`},
	} {
		samples, err := Parse(m, "b", c.topic, []byte(c.text))
		got := values(samples)
		if err != nil {
			got = fmt.Sprint("error: ", err)
		}
		if got != c.want {
			t.Errorf("%s %s: %s, want %s", c.topic, c.text, got, c.want)
		}
	}
}

// Any bytes that a broker delivers are read or refused, and what is read is a number of its unit.
func FuzzParse(f *testing.F) {
	m := profile.Messages{JSON: true, Values: []profile.MessageValue{{Channel: "a", Quantity: run.Voltage, Unit: "V", Path: []string{"v", "0"}}}}
	for _, seed := range []string{`{"v":[4.8]}`, `{"v":["x"]}`, `[]`, `{"v":[1e999]}`, "\x00"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		samples, err := Parse(m, "x", "x", text)
		for _, s := range samples {
			if s.Good() && (!reading.IsDecimal(s.Text) || err != nil) {
				t.Errorf("%q: %+v, %v", text, s, err)
			}
		}
	})
}
