package metrics

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
)

// contentType is that of the Prometheus text format, version 0.0.4.
const contentType = "text/plain; version=0.0.4; charset=utf-8"

// kind is what a metric counts.
type kind string

const (
	isGauge   kind = "gauge"
	isCounter kind = "counter"
)

// metric is the head of one metric.
type metric struct {
	name, help string
	kind       kind
	labels     []string // beside run
}

func gauge(name, help string, labels ...string) *metric {
	return &metric{"ohmkeep_" + name, help, isGauge, labels}
}

func counter(name, help string, labels ...string) *metric {
	return &metric{"ohmkeep_" + name, help, isCounter, labels}
}

// page gathers metrics and writes them: all of one metric must stand together.
type page struct {
	run   string
	order []*metric
	lines map[*metric]*bytes.Buffer
}

func newPage(run string) *page { return &page{run: run, lines: map[*metric]*bytes.Buffer{}} }

// add gives a metric a value; labels are those of its head, in order.
func (p *page) add(m *metric, value float64, labels ...string) {
	to := p.lines[m]
	if to == nil {
		to = &bytes.Buffer{}
		p.lines[m], p.order = to, append(p.order, m)
	}
	fmt.Fprintf(to, `%s{run="%s"`, m.name, escape(p.run))
	for i, name := range m.labels {
		fmt.Fprintf(to, `,%s="%s"`, name, escape(labels[i]))
	}
	to.WriteString("} " + strconv.FormatFloat(value, 'g', -1, 64) + "\n")
}

// escape writes a label's value: the format knows backslash, quotation mark and
// line feed.
var escape = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`).Replace

// text gives all metrics in the order in which they came first.
func (p *page) text() []byte {
	var out bytes.Buffer
	for _, m := range p.order {
		fmt.Fprintf(&out, "# HELP %s %s\n# TYPE %s %s\n", m.name, m.help, m.name, m.kind)
		out.Write(p.lines[m].Bytes())
	}
	return out.Bytes()
}
