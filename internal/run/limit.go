package run

import "math"

// FeedLimit returns the highest resistance allowed for a feed, Ω loop at 20 °C: the lower of
// FeedExcess and the drop limit over a current in A. At a current of 0 it is FeedExcess.
func (r *Run) FeedLimit(feed int, amps float64) float64 {
	limit := r.FeedExcess(feed)
	if amps = math.Abs(amps); amps > 0 {
		limit = math.Min(limit, r.Limits.FeedDrop*r.SupplyOf(feed).Volts/amps)
	}
	return limit
}

// FeedExcess returns the highest resistance allowed for a feed of the stated conductor and
// length with its connectors, Ω loop at 20 °C.
func (r *Run) FeedExcess(feed int) float64 {
	wire := r.Feeds[feed].WireOhms
	if wire == 0 {
		wire = r.Feeds[feed].Ohms
	}
	return wire*(1+r.Limits.FeedExcess) + r.Limits.ConnectorOhms
}
