// Package payload reads the values in the messages of a device that publishes at a broker: one number
// as text, or a JSON text (RFC 8259) by a profile's paths. Numbers keep their digits. The package
// knows no connection.
package payload

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run/topic"
)

// maxPayload is the largest number of bytes of a message that is read.
const maxPayload = 64 << 10

// Parse returns the values of a message whose topic is below that of a probe. A message without a
// value of the profile is an error.
func Parse(m profile.Messages, probeTopic, messageTopic string, message []byte) ([]reading.Sample, error) {
	if len(message) > maxPayload {
		return nil, fmt.Errorf("longer than %d bytes", maxPayload)
	}
	var document any
	if m.JSON {
		decoder := json.NewDecoder(bytes.NewReader(message))
		decoder.UseNumber()
		if err := decoder.Decode(&document); err != nil {
			return nil, fmt.Errorf("not a JSON text: %w", err)
		}
		if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
			return nil, errors.New("more than one JSON text")
		}
	}
	var samples []reading.Sample
	for _, v := range m.Values {
		levels, fits := topic.Match(v.Filter(probeTopic), messageTopic)
		if !fits {
			continue
		}
		text := strings.TrimSpace(string(message))
		if m.JSON {
			found, err := follow(document, v.Path)
			if err != nil {
				return nil, err
			}
			if found == nil {
				continue // the message has other values of the topic
			}
			text = *found
		}
		channel := v.Channel
		if channel == "" {
			channel = levels[0]
		}
		s, err := sampleOf(v, channel, text)
		if err != nil {
			return nil, err
		}
		samples = append(samples, s)
	}
	if len(samples) == 0 {
		return nil, errors.New("holds no value that the profile names")
	}
	return samples, nil
}

// follow returns the text of the value at a path of a JSON text; nil where there is none. null is
// the text "null".
func follow(document any, path []string) (*string, error) {
	for _, step := range path {
		switch at := document.(type) {
		case map[string]any:
			inner, ok := at[step]
			if !ok {
				return nil, nil
			}
			document = inner
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i < 0 || i >= len(at) {
				return nil, nil
			}
			document = at[i]
		default:
			return nil, nil
		}
	}
	var text string
	switch value := document.(type) {
	case json.Number:
		text = value.String()
	case string:
		text = value
	case nil:
		text = "null"
	default:
		return nil, fmt.Errorf("%s is not a number", strings.Join(path, "."))
	}
	return &text, nil
}

// noValue are texts by which boards commonly say that they have no value (common practice, no
// source), beside those of the profile.
var noValue = []string{"null", "nan", "NaN", "unavailable", "unknown"}

func sampleOf(v profile.MessageValue, channel, text string) (reading.Sample, error) {
	s := reading.Sample{Reading: reading.Reading{Quantity: v.Quantity, Text: text, Unit: v.Unit}, Channel: channel, Raw: text}
	switch {
	case slices.Contains(v.Bad, text) || slices.Contains(noValue, text):
		s.SetFault(reading.Faulty, "the board says: "+text)
		return s, nil
	case reading.IsOverload(text):
		s.SetFault(reading.Overload, "overload")
		return s, nil
	}
	var err error
	if s.Value, err = reading.Value(v.Quantity, text, v.Unit); err != nil {
		var f fault.Fault
		if errors.As(err, &f) {
			return s, fmt.Errorf("channel %s: %s", channel, f.Text)
		}
		return s, err
	}
	return s, nil
}
