// Package metrics serves the state of a watch in the Prometheus text format, in base
// units, with labels from the run file alone.
//
// One collector makes every metric from one snapshot at each scrape. All values of a scrape
// are therefore of one moment, and what was removed from the run file is not served.
package metrics

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/watch/recorder"
)

// Disk is the storage that the store's file is on.
type Disk struct {
	Store   int64 // bytes of the store and what belongs to it
	Damaged bool  // the store is known to be damaged, or a damaged one was replaced since the start
	Free    int64 // bytes that the program may still use
	Size    int64 // bytes
	Written int64 // bytes written to the device since boot by all programs; -1 = not known
}

// Source returns the state to show.
type Source struct {
	Snapshot func() recorder.Snapshot
	Disk     func() (Disk, error)
	History  func() *history.History // of the newest analysis; nil = there was none
}

// Handler serves the metrics of a source and those of the process.
func Handler(s Source) http.Handler {
	registry := prometheus.NewRegistry()
	registry.MustRegister(collector{s}, collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	// Compression would cost a small board more than the few kilobytes that it saves.
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError, DisableCompression: true})
}

// metric is a metric's description and type.
type metric struct {
	*prometheus.Desc
	kind prometheus.ValueType
}

// all are the metrics that a collector may send.
var all []metric

func gauge(name, help string, labels ...string) metric {
	return describe(prometheus.GaugeValue, name, help, labels)
}

func counter(name, help string, labels ...string) metric {
	return describe(prometheus.CounterValue, name, help, labels)
}

// describe adds a metric of a run; labels are those beside run.
func describe(kind prometheus.ValueType, name, help string, labels []string) metric {
	m := metric{prometheus.NewDesc("ohmkeep_"+name, help, append([]string{"run"}, labels...), nil), kind}
	all = append(all, m)
	return m
}

var (
	voltage     = gauge("voltage_volts", "The newest voltage between two points, while it is fresh.", "from", "to")
	current     = gauge("current_amperes", "The newest current through a feed, while it is fresh.", "feed")
	temperature = gauge("temperature_celsius", "The newest temperature of a reel or feed, while it is fresh.", "at")
	age         = gauge("last_good_reading_age_seconds", "Time since the last good reading of a channel, or since the start.", "probe", "channel", "quantity")
	unusable    = counter("unusable_values_total", "Values that the instrument or its meter's ranges make meaningless.", "probe", "channel", "quantity")

	readings = counter("readings_total", "Readings that are safe on disk, since the start.", "probe")
	badLines = counter("bad_lines_total", "Lines that could not be read; nothing of them is stored.", "probe")
	skipped  = counter("skipped_lines_total", "Lines that were under way when the port was opened.", "probe")
	losses   = counter("probe_losses_total", "How often an instrument was unplugged or fell silent.", "probe")
	probeUp  = gauge("probe_up", "1 while the instrument's port is open.", "probe")

	waiting   = gauge("queue_readings", "Readings that wait for the next commit.")
	dropped   = counter("dropped_readings_total", "Readings that were lost because the store did not commit for too long, or refused them.")
	commits   = counter("commits_total", "Commits to the store.")
	failures  = counter("commit_failures_total", "Commits that failed; each is tried again.")
	commitAge = gauge("last_commit_age_seconds", "Time since the last commit, or the start.")
	commitIn  = gauge("last_commit_seconds", "Duration of the last commit.")
	certain   = gauge("clock_certain", "1 while the dates of readings are certain.")
	step      = gauge("step_shown", "1 for the step that the run is known to show.", "step")

	storeBytes = gauge("store_bytes", "Size of the store and its log.")
	damaged    = gauge("store_damaged", "1 while the store is known to be damaged, or since a damaged one was put aside.")
	diskFree   = gauge("disk_free_bytes", "Bytes free for the store.")
	diskSize   = gauge("disk_size_bytes", "Size of the disk that the store is on.")
	written    = counter("device_written_bytes_total", "Bytes written to the store's device since boot, by all programs.")

	checked = gauge("check_step_timestamp_seconds", "Time of the newest known step in the nightly analysis, announced or known by its current.")

	failing = gauge("run_failing", "1 while the newest analysis finds a resistance over its limit, or changing.")

	ohms    = gauge("resistance_ohms", "Resistance at 20 °C.", "kind", "name", "rail")
	upper   = gauge("resistance_upper_ohms", "Upper end of its 95 % interval.", "kind", "name", "rail")
	lower   = gauge("resistance_lower_ohms", "Lower end of its 95 % interval.", "kind", "name", "rail")
	limit   = gauge("resistance_limit_ohms", "Limit of a resistance.", "kind", "name", "rail")
	verdict = gauge("verdict", "1 for the verdict that holds, 0 for the others.", "kind", "name", "rail", "verdict")
)
