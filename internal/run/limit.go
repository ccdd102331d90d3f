package run

import "math"

// FeedLimit is what a feed may have, Ω loop at 20 °C: the lower of FeedExcess and what
// the drop budget allows at a current in amperes. A current of 0 leaves the budget out.
func (r *Run) FeedLimit(feed int, amps float64) float64 {
	limit := r.FeedExcess(feed)
	if amps = math.Abs(amps); amps > 0 {
		limit = math.Min(limit, r.Limits.FeedDrop*r.SupplyOf(feed).Volts/amps)
	}
	return limit
}

// FeedExcess is the most that a feed of the stated conductor and length may have with
// its connectors, Ω loop at 20 °C.
func (r *Run) FeedExcess(feed int) float64 {
	wire := r.Feeds[feed].WireOhms
	if wire == 0 {
		wire = r.Feeds[feed].Ohms
	}
	return wire*(1+r.Limits.FeedExcess) + r.Limits.ConnectorOhms
}
