// Package metrics gives what a daemon knows in the Prometheus text format, in base
// units, with labels from the run file alone.
//
// The metrics are made anew from one snapshot at every scrape, so that they
// belong together and nothing that left the run file stays behind.
package metrics

import (
	"math"
	"net/http"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/recorder"
)

// Analysis is what the nightly analysis found.
type Analysis struct {
	Resistances []Resistance
	Check       time.Time // of the newest reading in a known step, announced or not; zero = there was none
}

// Resistance is what it says of one resistance.
type Resistance struct {
	Kind, Name, Rail string
	Ohms, Low, High  float64  // at 20 °C; NaN = not known
	Limit            float64  // Ω; NaN = it has none
	Verdict          string   // one of Verdicts
	Verdicts         []string // all that there are
}

// Disk is what the store lies on.
type Disk struct {
	Store   int64 // bytes of the store and what belongs to it
	Damaged bool  // the store is known to be damaged, or one was put aside since the start
	Free    int64 // bytes that the program may still use
	Size    int64 // bytes
	Written int64 // bytes written to the device since boot, by anybody; -1 = not known
}

// Source gives what is to be shown.
type Source struct {
	Snapshot func() recorder.Snapshot
	Disk     func() (Disk, error)
	Analysis func() Analysis
}

// stale is how old a value may be, in seconds, and still be shown as that of now.
const stale = 300

var (
	voltage     = gauge("voltage_volts", "The newest voltage between two points, while it is fresh.", "from", "to")
	current     = gauge("current_amperes", "The newest current through a feed, while it is fresh.", "feed")
	temperature = gauge("temperature_celsius", "The newest temperature of a reel or feed, while it is fresh.", "at")
	age         = gauge("last_good_reading_age_seconds", "Since the last good reading of a channel, or since the start.", "probe", "channel", "quantity")
	unusable    = counter("unusable_values_total", "Values that the instrument or its meter's ranges make meaningless.", "probe", "channel", "quantity")

	readings = counter("readings_total", "Readings that are safe on disk, since the start.", "probe")
	badLines = counter("bad_lines_total", "Lines that were not understood; nothing of them is stored.", "probe")
	skipped  = counter("skipped_lines_total", "Lines that were under way when the port was opened.", "probe")
	losses   = counter("probe_losses_total", "How often a probe was unplugged or hung up.", "probe")
	probeUp  = gauge("probe_up", "1 while the probe is open.", "probe")

	waiting   = gauge("queue_readings", "Readings that wait for the next commit.")
	dropped   = counter("dropped_readings_total", "Readings that were lost because the store did not commit for too long, or refused them.")
	commits   = counter("commits_total", "Commits to the store.")
	failures  = counter("commit_failures_total", "Commits that the store did not do; each is tried again.")
	commitAge = gauge("last_commit_age_seconds", "Since the last commit, or the start.")
	commitIn  = gauge("last_commit_seconds", "What the last commit took.")
	certain   = gauge("clock_certain", "1 while the dates of readings are certain.")
	step      = gauge("step_shown", "1 for the step that the run is known to show.", "step")

	storeBytes = gauge("store_bytes", "Size of the store and its log.")
	damaged    = gauge("store_damaged", "1 while the store is known to be damaged, or since a damaged one was put aside.")
	diskFree   = gauge("disk_free_bytes", "Bytes free for the store.")
	diskSize   = gauge("disk_size_bytes", "Size of the disk that the store is on.")
	written    = counter("device_written_bytes_total", "Bytes written to the store's device since boot, by all programs.")

	memory = gauge("resident_memory_bytes", "Memory that the program holds.")

	checked = gauge("check_step_timestamp_seconds", "When the newest known step was seen by the nightly analysis, announced or known by its current.")

	ohms    = gauge("resistance_ohms", "Resistance at 20 °C.", "kind", "name", "rail")
	upper   = gauge("resistance_upper_ohms", "Upper end of its 95 % interval.", "kind", "name", "rail")
	lower   = gauge("resistance_lower_ohms", "Lower end of its 95 % interval.", "kind", "name", "rail")
	limit   = gauge("resistance_limit_ohms", "What it may have at most.", "kind", "name", "rail")
	verdict = gauge("verdict", "1 for the verdict that holds, 0 for the others.", "kind", "name", "rail", "verdict")
)

// Handler serves the metrics of a source, and those of the process itself.
func Handler(s Source) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", contentType)
		_, _ = w.Write(s.text()) // whoever asked is gone
	})
}

// text gives all metrics of this moment.
func (c Source) text() []byte {
	s := c.Snapshot()
	all := newPage(s.Run)
	give := all.add
	for _, p := range s.Probes {
		give(readings, float64(p.Stored), p.Name)
		give(badLines, float64(p.Bad), p.Name)
		give(skipped, float64(p.Skipped), p.Name)
		give(losses, float64(p.Lost), p.Name)
		give(probeUp, yes(p.Up), p.Name)
		for _, ch := range p.Channels {
			since := s.Seconds
			if ch.Age != nil {
				since = *ch.Age
			}
			give(age, since, p.Name, ch.ID, ch.What)
			give(unusable, float64(ch.Unusable), p.Name, ch.ID, ch.What)
		}
	}
	values(s, give)
	give(waiting, float64(s.Waiting))
	give(dropped, float64(s.Dropped+s.Refused))
	give(commits, float64(s.Commits))
	give(failures, float64(s.Failures))
	give(commitAge, s.CommitAge)
	give(commitIn, s.CommitSeconds)
	give(certain, yes(s.Certain))
	if s.Step != "" {
		give(step, 1, s.Step)
	}
	if d, err := c.Disk(); err == nil {
		give(storeBytes, float64(d.Store))
		give(damaged, yes(d.Damaged))
		give(diskFree, float64(d.Free))
		give(diskSize, float64(d.Size))
		if d.Written >= 0 {
			give(written, float64(d.Written))
		}
	}
	found := c.Analysis()
	if !found.Check.IsZero() {
		give(checked, float64(found.Check.Unix()))
	}
	for _, r := range found.Resistances {
		for _, x := range []struct {
			metric *metric
			value  float64
		}{{ohms, r.Ohms}, {upper, r.High}, {lower, r.Low}, {limit, r.Limit}} {
			if !math.IsNaN(x.value) {
				give(x.metric, x.value, r.Kind, r.Name, r.Rail)
			}
		}
		for _, v := range r.Verdicts {
			give(verdict, yes(v == r.Verdict), r.Kind, r.Name, r.Rail, v)
		}
	}
	give(memory, float64(resident()))
	return all.text()
}

// values gives the newest value of every place. Two probes may measure the same
// one; the fresher value counts.
func values(s recorder.Snapshot, give func(*metric, float64, ...string)) {
	type place struct {
		quantity run.Quantity
		from, to string
	}
	newest := map[place]recorder.ChannelState{}
	var order []place
	for _, p := range s.Probes {
		for _, ch := range p.Channels {
			at := place{ch.Quantity, ch.From, ch.To}
			if before, ok := newest[at]; ch.Age != nil && *ch.Age <= stale && (!ok || *ch.Age < *before.Age) {
				if !ok {
					order = append(order, at)
				}
				newest[at] = ch
			}
		}
	}
	for _, at := range order {
		ch := newest[at]
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

func yes(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
