package nightly

import (
	"math"

	"ohmkeep/internal/drift/elements"
	"ohmkeep/internal/drift/scan"
	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/run"
)

// maxDarkRatio is the greatest ratio of a run's current to its stated idle current that counts as dark.
const maxDarkRatio = 1.35

// dark reports whether all pixels are dark in a scan.
func (d *Reader) dark(s *scan.Scan) bool {
	sum := 0.0
	for _, a := range s.Amps {
		if a == a {
			sum += math.Abs(a)
		}
	}
	return d.hasAllCurrents(s) && d.idle > 0 && sum <= maxDarkRatio*d.idle+0.01
}

// offset sets the drop above the nominal one with all pixels dark, V.
func (d *Reader) offset(e *elements.Element, c *scan.Collector, u, v int, n *Night) {
	if !e.Dark.Known {
		return
	}
	var drops, amps []float64
	once := 0.0
	for i := range c.Scans {
		s := &c.Scans[i]
		drop := scan.At(s.Volts, u) - scan.At(s.Volts, v)
		if drop != drop || !c.Scans[i].Dark {
			continue
		}
		celsius, _ := d.degrees(e, s)
		once, _ = c.DropErrors(s, u, v)
		drops = append(drops, drop-e.Dark.Expected(s.Amps, celsius))
		amps = append(amps, e.Dark.Through.Of(s.Amps))
	}
	if len(drops) >= 3 {
		n.Offset, n.DarkAmps = trend.Midmean(drops), trend.Median(amps)
		n.OffsetError = max(once, trend.Spread(drops)) / math.Sqrt(float64(min(len(drops), 9)))
	}
}

// burstsAtUnknownLoad finds bursts in scans of unknown load: drops over a joint that are larger than the full
// current of its feeds explains.
func (d *Reader) burstsAtUnknownLoad(e *elements.Element, c *scan.Collector, steps []int, u, v int, n *Night) {
	m := &e.Steps[d.usual]
	if !m.Known {
		return
	}
	var samples []sample
	var x, y []float64
	once := 0.0
	for i := range c.Scans {
		s := &c.Scans[i]
		drop := scan.At(s.Volts, u) - scan.At(s.Volts, v)
		if steps[i] >= 0 || drop != drop || !d.hasAllCurrents(s) || math.Abs(drop) > maxDropPart*math.Abs(scan.At(s.Volts, u)) {
			continue
		}
		if len(x) == 0 {
			once, _ = c.DropErrors(s, u, v)
		}
		most := 0.0
		for _, a := range s.Amps {
			if a == a {
				most = math.Max(most, math.Abs(a))
			}
		}
		through := m.Through.Of(s.Amps)
		samples = append(samples, sample{at: s.At, drop: drop, amps: through, most: most})
		x, y = append(x, through), append(y, drop)
	}
	if len(x) < minScans {
		return
	}
	fit, _ := line(x, y, once)
	if math.IsInf(fit.SlopeError, 1) {
		return
	}
	rest, most := make([]float64, len(samples)), make([]float64, len(samples))
	for i, s := range samples {
		rest[i], most[i] = s.drop-fit.At(s.amps), s.most
	}
	noise := noiseOf(most, rest, once)
	slope := math.Max(math.Abs(fit.Slope), 0.003)
	var rises []float64
	for i, s := range samples {
		n.Samples++
		rest := math.Abs(rest[i])
		if rest > max(burstSigmas*noise.at(s.most), 1.5*slope*s.most+3*once, leastBurst*s.most) {
			n.burst(s.at)
			rises = append(rises, rest/max(math.Abs(s.amps), s.most/4, leastAmps))
		}
	}
	n.BurstRise = trend.Median(rises)
}

const (
	// A step is recognised from steadyScans consecutive scans with a constant current that last at
	// least steadyTime, ns, without a pause longer than steadyPause, ns.
	steadyScans = 3
	steadyTime  = int64(20e9)
	steadyPause = int64(5 * 60e9)
)

// recognise returns the step of each scan: the one named in the readings, or else the one
// recognised by a steady current. If any scan of the day is named, only names count.
func (d *Reader) recognise(scans []scan.Scan) []int {
	steps := make([]int, len(scans))
	named := false
	for i := range scans {
		steps[i] = scans[i].Step
		named = named || steps[i] >= 0
	}
	if named || len(d.run.Steps) == 0 {
		return steps
	}
	for from := 0; from < len(scans); {
		to := from + 1
		for to < len(scans) && scans[to].At-scans[to-1].At <= steadyPause && d.sameCurrents(&scans[from], &scans[to]) {
			to++
		}
		if to-from >= steadyScans && scans[to-1].At-scans[from].At >= steadyTime {
			if k := d.match(&scans[(from+to)/2]); k >= 0 {
				for i := from; i < to; i++ {
					steps[i] = k
				}
			}
		}
		from = to
	}
	return steps
}

// sameCurrents reports whether two scans have the same currents.
func (d *Reader) sameCurrents(a, b *scan.Scan) bool {
	if !d.hasAllCurrents(a) || !d.hasAllCurrents(b) {
		return false
	}
	for i, m := range d.measured {
		if m && math.Abs(a.Amps[i]-b.Amps[i]) > max(0.005*math.Abs(a.Amps[i]), 0.005) {
			return false
		}
	}
	return true
}

// match returns the one step whose currents, and whose drops along whole reels, agree with those of
// a scan; −1 where no step or more than one agrees. Pixels may draw some twelve percent more or
// less than stated (common practice, no source).
func (d *Reader) match(s *scan.Scan) int {
	found := -1
	for k := range d.run.Steps {
		if !d.fits(s, k) {
			continue
		}
		if found >= 0 {
			return -1
		}
		found = k
	}
	return found
}

func (d *Reader) fits(s *scan.Scan, k int) bool {
	for i, m := range d.measured {
		stated := d.stated[k][i]
		if m && math.Abs(s.Amps[i]-stated) > max(0.12*math.Abs(stated), 0.02) {
			return false
		}
	}
	for i := range d.elements {
		e := &d.elements[i]
		if e.Joints > 0 || e.Feed >= 0 || e.From.Kind != run.AtReel || !e.Steps[k].Known {
			continue
		}
		u, v := d.slot(e.From), d.slot(e.To)
		drop := scan.At(s.Volts, u) - scan.At(s.Volts, v)
		celsius, _ := d.degrees(e, s)
		expected := e.Steps[k].Copper.Of(s.Amps) + e.Steps[k].Warming.Of(s.Amps)*(celsius-20)
		if drop == drop && math.Abs(drop-expected) > 0.15*math.Abs(expected)+0.02 {
			return false
		}
	}
	return true
}
