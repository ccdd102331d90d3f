package profile

import (
	"fmt"
	"slices"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
	"ohmkeep/internal/run/topic"
)

// Messages are the values that a device publishes at a broker of MQTT.
type Messages struct {
	JSON   bool // a message is a JSON text; otherwise it is one number
	Values []MessageValue
}

// MessageValue is one value in the messages of a topic.
type MessageValue struct {
	Channel  string // "" = the level that stands for "+" in the topic
	Quantity run.Quantity
	Unit     string
	Topic    string   // a filter below the probe's topic; "" = that topic itself
	Path     []string // in a JSON text: names of members, and numbers of elements from 0
	Bad      []string // contents that mean that there is no value
}

// Filter returns the filter of the topics of a value, below the topic of a probe.
func (v MessageValue) Filter(topic string) string {
	if v.Topic == "" {
		return topic
	}
	return topic + "/" + v.Topic
}

// Filters returns the filters of all values, each once.
func (m Messages) Filters(topic string) []string {
	var all []string
	for _, v := range m.Values {
		if f := v.Filter(topic); !slices.Contains(all, f) {
			all = append(all, f)
		}
	}
	return all
}

var messageFormats = []string{"text", "json"}

func parseMessages(root, t *toml.Table, ok bool) Messages {
	if !ok {
		root.Missing("mqtt", "which messages are read")
		return Messages{}
	}
	format, _ := indexIn(t, "format", messageFormats, "")
	m := Messages{JSON: format == 1}
	values := t.Tables("value")
	if len(values) == 0 {
		t.Missing("value", "begin each value of a message with [[mqtt.value]]")
	}
	for _, v := range values {
		m.Values = append(m.Values, parseMessageValue(v, m.JSON))
	}
	return m
}

func parseMessageValue(t *toml.Table, isJSON bool) MessageValue {
	v := MessageValue{}
	v.Topic, _ = t.Text("topic")
	if v.Topic != "" {
		if err := topic.CheckFilter(v.Topic); err != nil {
			t.Fault("topic", err.Error(), "levels below the probe's topic, such as rail/volts")
		}
	}
	wild := strings.Count(v.Topic, "+")
	switch {
	case t.Has("id"):
		v.Channel = requiredText(t, "id", "the channel in the run file")
	case wild != 1:
		t.Missing("id", "the channel in the run file; without it the topic has one level + that names it")
	}
	if v.Channel != "" && wild > 0 {
		t.Fault("topic", "holds +, which names the channel", "leave id out")
	}
	if path, ok := t.Text("path"); ok {
		v.Path = strings.Split(path, ".")
		if !isJSON || slices.Contains(v.Path, "") {
			t.Fault("path", fmt.Sprintf("%q cannot be followed", path), `names set off by points in format = "json", such as rail.volts or values.0`)
		}
	}
	v.Unit = requiredText(t, "unit", "V, mV, uV, A, mA, uA or degC")
	quantity, known := UnitQuantity(v.Unit)
	if v.Unit != "" && !known {
		t.Fault("unit", fmt.Sprintf("%q is not a known unit", v.Unit), fault.Suggest(v.Unit, unitNames))
	}
	v.Quantity = quantity
	v.Bad, _ = t.Texts("bad")
	return v
}
