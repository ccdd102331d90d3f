package drift

import (
	"math"
	"slices"

	"ohmkeep/internal/numeric/trend"
)

const (
	maxBackPart     = 0.35 // greatest deviation of the night after a burst from the level, as a part of the burst's
	burstWindowDays = 10   // days over which bursts are counted
	minBursts       = 4    // least number of bursts in them
	minBurstNights  = 2    // least number of nights with a burst
	minBurstRate    = 0.004
	quietDays       = 45 // days without a burst after which a contact counts as sound
)

// markOutliers marks a night that differs much from both its neighbours and from the nights before.
// The contact was bad, or a reading was wrong, for that night.
func (s *State) markOutliers(t *track) {
	var usual []*point
	from := t.Stretch[len(t.Stretch)-1].At
	for i := range t.Points {
		if p := &t.Points[i]; p.At >= from && !p.is(noValue|outlier) {
			usual = append(usual, p)
		}
	}
	n := len(usual)
	if n < nightsBefore+2 || t.Stretch[len(t.Stretch)-1].Sloped && n < 12 {
		return
	}
	least, _ := s.least(t)
	values := make([]float64, 0, 30)
	for _, p := range usual[max(0, n-31) : n-1] {
		values = append(values, t.ohms(p))
	}
	scatter := trend.Spread(values)
	for count := 1; count <= 3 && n-1-count >= nightsBefore; count++ {
		var near []float64
		for _, p := range usual[max(0, n-1-count-7) : n-1-count] {
			near = append(near, t.ohms(p))
		}
		level := trend.Median(near)
		suspects := usual[n-1-count : n-1]
		// The newest night must be back at the level, not half-way.
		back := math.Abs(t.ohms(usual[n-1]) - level)
		if back > min(max(least, 3*scatter), maxBackPart*math.Abs(t.ohms(suspects[0])-level)) {
			continue
		}
		isOutlier := func(p *point) bool { return math.Abs(t.ohms(p)-level) > max(least, 6*max(float64(p.Error), scatter)) }
		if !slices.ContainsFunc(suspects, func(p *point) bool { return !isOutlier(p) }) {
			for _, p := range suspects {
				p.Flags |= outlier
				if rise := t.ohms(p) - level; rise > 0 && p.Bursts == 0 {
					p.Bursts, p.FirstBurst, p.BurstRise = 1, p.At, float32(rise)
					p.Samples = max(p.Samples, 1)
				}
			}
		}
	}
}

// detectBursts reports whether a contact has begun to fail repeatedly.
func (t *track) detectBursts() bool {
	newest := t.Points[len(t.Points)-1].Day
	var count, samples, nights int
	var rises []float64
	first, last := int64(0), int64(0)
	for i := len(t.Points) - 1; i >= 0 && newest-t.Points[i].Day < burstWindowDays; i-- {
		p := &t.Points[i]
		samples += int(p.Samples)
		if p.Bursts > 0 {
			count += int(p.Bursts)
			nights++
			first = p.FirstBurst
			last = max(last, p.At)
			if p.BurstRise == p.BurstRise {
				rises = append(rises, float64(p.BurstRise))
			}
		}
	}
	checksOnly := nights >= 3 && samples < 4*nights*burstWindowDays // the element is read in check steps only
	many := nights >= minBurstNights && count >= minBursts && float64(count) >= minBurstRate*float64(samples) || checksOnly
	if t.Bursting {
		now := &t.Bursts[len(t.Bursts)-1]
		if nights > 0 {
			now.Last = max(now.Last, last)
		}
		t.Bursting = moment(t.Points[len(t.Points)-1].At).Sub(moment(now.Last)).Hours() < 24*quietDays
		return false
	}
	if many {
		// It began with the first burst of those that are less than burstWindowDays apart.
		for i := len(t.Points) - 1; i >= 0 && first-t.Points[i].At < burstWindowDays*86400; i-- {
			if p := &t.Points[i]; p.Bursts > 0 && p.FirstBurst < first {
				first = p.FirstBurst
			}
		}
		t.Bursting = true
		t.Bursts = append(t.Bursts, burst{At: first, Called: t.Points[len(t.Points)-1].At, Last: last, Rise: float32(trend.Median(rises))})
	}
	return many
}
