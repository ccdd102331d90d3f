package remotewrite

import (
	"cmp"
	"math"
	"slices"

	writev2 "github.com/prometheus/client_golang/exp/api/remote/genproto/v2"
	"google.golang.org/protobuf/encoding/protowire"
)

// label is a label of a metric.
type label struct{ name, value string }

// sample is a value at a moment, ms since 1970.
type sample struct {
	value float64
	at    int64
}

// series are the samples of one set of labels.
type series struct {
	labels  []label // in the order of their names
	samples []sample
}

// message is what one request sends.
type message struct {
	all   []*series
	byKey map[string]*series
}

func newMessage() *message { return &message{byKey: map[string]*series{}} }

// add adds a sample; one that is not finite is left out. Of two samples of a series and moment, the
// later one counts.
func (m *message) add(labels []label, value float64, at int64) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return
	}
	slices.SortFunc(labels, func(a, b label) int { return cmp.Compare(a.name, b.name) })
	key := ""
	for _, l := range labels {
		key += l.name + "\xff" + l.value + "\xff"
	}
	s := m.byKey[key]
	if s == nil {
		s = &series{labels: labels}
		m.byKey[key], m.all = s, append(m.all, s)
	}
	if n := len(s.samples); n > 0 && s.samples[n-1].at == at {
		s.samples[n-1].value = value
		return
	}
	s.samples = append(s.samples, sample{value, at})
}

// version2 returns the message as Remote-Write 2.0 has it (io.prometheus.write.v2.Request).
func (m *message) version2() *writev2.Request {
	symbols := writev2.NewSymbolTable()
	request := &writev2.Request{}
	for _, s := range m.all {
		one := &writev2.TimeSeries{Metadata: &writev2.Metadata{Type: writev2.Metadata_METRIC_TYPE_GAUGE}}
		for _, l := range s.labels {
			one.LabelsRefs = append(one.LabelsRefs, symbols.Symbolize(l.name), symbols.Symbolize(l.value))
		}
		for _, x := range s.samples {
			one.Samples = append(one.Samples, &writev2.Sample{Value: x.value, Timestamp: x.at})
		}
		request.Timeseries = append(request.Timeseries, one)
	}
	request.Symbols = symbols.Symbols()
	return request
}

// encoded is a message that is already encoded.
type encoded []byte

// SizeVT and MarshalToSizedBufferVT make the client take the bytes as they are.
func (e encoded) SizeVT() int { return len(e) }

func (e encoded) MarshalToSizedBufferVT(to []byte) (int, error) { return copy(to, e), nil }

// version1 returns the message as Remote-Write 1.0 has it (prometheus.WriteRequest: series are field 1;
// in a series, labels are 1 and samples 2; in a label, the name is 1 and the value 2; in a sample,
// the value is 1 and the moment 2).
func (m *message) version1() encoded {
	var request, one, inner []byte
	for _, s := range m.all {
		one = one[:0]
		for _, l := range s.labels {
			inner = protowire.AppendString(protowire.AppendTag(inner[:0], 1, protowire.BytesType), l.name)
			inner = protowire.AppendString(protowire.AppendTag(inner, 2, protowire.BytesType), l.value)
			one = protowire.AppendBytes(protowire.AppendTag(one, 1, protowire.BytesType), inner)
		}
		for _, x := range s.samples {
			inner = protowire.AppendFixed64(protowire.AppendTag(inner[:0], 1, protowire.Fixed64Type), math.Float64bits(x.value))
			inner = protowire.AppendVarint(protowire.AppendTag(inner, 2, protowire.VarintType), uint64(x.at))
			one = protowire.AppendBytes(protowire.AppendTag(one, 2, protowire.BytesType), inner)
		}
		request = protowire.AppendBytes(protowire.AppendTag(request, 1, protowire.BytesType), one)
	}
	return request
}
