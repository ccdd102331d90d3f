package run

// SupplyOf returns the supply of a feed. Where the feed begins at a junction it is the
// supply of the first feed that ends at that junction.
func (r *Run) SupplyOf(feed int) Supply {
	at := r.Feeds[feed].From
	for range r.Feeds { // no way back without a loop is longer
		if at.Kind == AtSupply {
			return r.Supplies[at.Index]
		}
		for _, f := range r.Feeds {
			if f.To == at {
				at = f.From
				break
			}
		}
	}
	return r.Supplies[0]
}
