package metrics

import (
	"math"
	"slices"

	"github.com/prometheus/client_golang/prometheus"

	"ohmkeep/internal/drift"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/recorder"
)

// collector is the prometheus.Collector of a source.
type collector struct{ source Source }

// Describe sends the description of every metric.
func (c collector) Describe(descriptions chan<- *prometheus.Desc) {
	for _, m := range all {
		descriptions <- m.Desc
	}
}

// Collect sends every metric from one snapshot.
func (c collector) Collect(metrics chan<- prometheus.Metric) {
	s := c.source.Snapshot()
	give := func(m metric, value float64, labels ...string) {
		one, err := prometheus.NewConstMetric(m.Desc, m.kind, value, append([]string{s.Run}, labels...)...)
		if err != nil { // a label that is not UTF-8
			one = prometheus.NewInvalidMetric(m.Desc, err)
		}
		metrics <- one
	}
	for _, p := range s.Probes {
		give(readings, float64(p.Stored), p.Name)
		give(badLines, float64(p.Bad), p.Name)
		give(skipped, float64(p.Skipped), p.Name)
		give(losses, float64(p.Lost), p.Name)
		give(probeUp, indicator(p.Up), p.Name)
		for _, ch := range p.Channels {
			since := s.Seconds
			if ch.Age != nil {
				since = *ch.Age
			}
			give(age, since, p.Name, ch.ID, ch.What)
			give(unusable, float64(ch.Unusable), p.Name, ch.ID, ch.What)
		}
	}
	sendValues(s, give)
	give(waiting, float64(s.Waiting))
	give(dropped, float64(s.Dropped+s.Refused))
	give(commits, float64(s.Commits))
	give(failures, float64(s.Failures))
	give(commitAge, s.CommitAge)
	give(commitIn, s.CommitSeconds)
	give(certain, indicator(s.Certain))
	if s.Step != "" {
		give(step, 1, s.Step)
	}
	if d, err := c.source.Disk(); err == nil {
		give(storeBytes, float64(d.Store))
		give(damaged, indicator(d.Damaged))
		give(diskFree, float64(d.Free))
		give(diskSize, float64(d.Size))
		if d.Written >= 0 {
			give(written, float64(d.Written))
		}
	}
	sendHistory(c.source.History(), give)
}

// sendFunc sends a value of a metric; labels are those beside run, in their order.
type sendFunc func(m metric, value float64, labels ...string)

// sendHistory sends the resistances of the nightly analysis.
func sendHistory(h *history.History, give sendFunc) {
	if h == nil {
		give(failing, 0)
		return
	}
	give(failing, indicator(slices.ContainsFunc(h.Series, drift.Fails)))
	if !h.Check.IsZero() {
		give(checked, float64(h.Check.Unix()))
	}
	for _, s := range h.Series {
		kind, rail := string(s.Kind), s.Rail.String()
		if !math.IsNaN(s.Ohms) {
			give(ohms, s.Ohms, kind, s.Name, rail)
			give(upper, s.High, kind, s.Name, rail)
			give(lower, s.Low, kind, s.Name, rail)
		}
		if !math.IsNaN(s.Limit) {
			give(limit, s.Limit, kind, s.Name, rail)
		}
		for _, v := range history.Verdicts {
			give(verdict, indicator(v == s.Verdict), kind, s.Name, rail, string(v))
		}
	}
}

// maxAge is the largest age, in seconds, of a value that is served.
const maxAge = 300

// sendValues sends the newest value of every place of measurement. If two instruments measure
// at the same place, it sends the newer value.
func sendValues(s recorder.Snapshot, give sendFunc) {
	type place struct {
		quantity run.Quantity
		from, to string
	}
	newest := map[place]recorder.ChannelState{}
	for _, p := range s.Probes {
		for _, ch := range p.Channels {
			at := place{ch.Quantity, ch.From, ch.To}
			if before, ok := newest[at]; ch.Age != nil && *ch.Age <= maxAge && (!ok || *ch.Age < *before.Age) {
				newest[at] = ch
			}
		}
	}
	for at, ch := range newest {
		switch at.quantity {
		case run.Voltage:
			give(voltage, *ch.Value, at.from, at.to)
		case run.Current:
			give(current, *ch.Value, at.from)
		case run.Temperature:
			give(temperature, *ch.Value, at.from)
		}
	}
}

// indicator returns 1 for true and 0 for false.
func indicator(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
