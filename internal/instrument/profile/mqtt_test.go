package profile_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
)

const boardProfile = `name = "m"
title = "M"
kind = "mqtt"
[mqtt]
format = "json"
[[mqtt.value]]
id = "volts"
topic = "rail/1"
path = "values.0"
unit = "mV"
bad = ["-1"]
[[mqtt.value]]
topic = "+/amps"
unit = "A"
`

func TestMessages(t *testing.T) {
	p, err := profile.Parse("m.toml", []byte(boardProfile))
	if err != nil {
		t.Fatal(err)
	}
	want := []profile.MessageValue{{Channel: "volts", Quantity: run.Voltage, Unit: "mV", Topic: "rail/1", Path: []string{"values", "0"}, Bad: []string{"-1"}},
		{Quantity: run.Current, Unit: "A", Topic: "+/amps", Bad: p.Messages.Values[1].Bad}}
	if !p.Messages.JSON || !reflect.DeepEqual(p.Messages.Values, want) || !p.Kind.SendsByItself() || p.Kind.Recordable() {
		t.Errorf("%+v", p.Messages)
	}
	if got := p.Messages.Filters("b"); !slices.Equal(got, []string{"b/rail/1", "b/+/amps"}) {
		t.Errorf("%q", got)
	}
}

func TestMessageFaults(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`format = "json"`, `format = "xml"`, `m.toml:5: mqtt.format: "xml" is not one of text, json`},
		{`format = "json"`, `format = "text"`, `m.toml:9: mqtt.value.path: "values.0" cannot be followed`},
		{`"values.0"`, `"values..0"`, `"values..0" cannot be followed`},
		{"id = \"volts\"\n", "", "m.toml:6: mqtt.value.id: is missing"},
		{`topic = "rail/1"`, `topic = "rail/+"`, "m.toml:8: mqtt.value.topic: holds +, which names the channel"},
		{`topic = "rail/1"`, `topic = "rail/#"`, `"rail/#" holds the wildcard #`},
		{`topic = "+/amps"`, `topic = "+/+"`, "mqtt.value.id: is missing"},
		{`unit = "mV"`, `unit = "W"`, `m.toml:10: mqtt.value.unit: "W" is not a known unit`},
		{"[mqtt]", "[port]\nbaud = 9600\n[mqtt]", "m.toml:4: port: has no meaning in a profile of kind mqtt"},
		{boardProfile[strings.Index(boardProfile, "[mqtt]"):], "", "m.toml: mqtt: is missing"},
	} {
		changed := strings.Replace(boardProfile, c.old, c.new, 1)
		if changed == boardProfile {
			t.Fatalf("%q changes nothing", c.old)
		}
		if _, err := profile.Parse("m.toml", []byte(changed)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: got %v, want %q in it", c.new, err, c.want)
		}
	}
}
