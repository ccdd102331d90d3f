package drift

import "math"

// mostNights is how many nights a series holds; beyond, its older half is thinned.
const mostNights = 900

// thin joins the older nights in pairs where there are too many.
func (t *track) thin() {
	if len(t.Points) <= mostNights {
		return
	}
	old := t.Points[:mostNights/2]
	var kept []point
	for i := 0; i < len(old); i++ {
		if i+1 == len(old) || t.stretchOf(old[i].At) != t.stretchOf(old[i+1].At) || old[i].Flags != old[i+1].Flags {
			kept = append(kept, old[i])
			continue
		}
		a, b := old[i], old[i+1]
		v, w := 1/(a.Error*a.Error), 1/(b.Error*b.Error)
		mean := func(a *float32, b float32) {
			switch {
			case *a != *a:
				*a = b
			case b == b:
				*a = (v**a + w*b) / (v + w)
			}
		}
		mean(&a.Ohms, b.Ohms)
		mean(&a.Drop, b.Drop)
		mean(&a.Amps, b.Amps)
		mean(&a.Offset, b.Offset)
		mean(&a.DarkAmps, b.DarkAmps)
		a.Error = 1 / float32(math.Sqrt(float64(v+w)))
		a.At += (b.At - a.At) / 2
		a.Samples += b.Samples
		a.Bursts += b.Bursts
		kept = append(kept, a)
		i++
	}
	t.Points = append(kept, t.Points[len(old):]...)
}

// stretchOf returns the stretch that a moment lies in.
func (t *track) stretchOf(at int64) int {
	k := 0
	for i, s := range t.Stretch {
		if at >= s.At {
			k = i
		}
	}
	return k
}
