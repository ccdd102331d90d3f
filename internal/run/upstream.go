package run

// SupplyOf returns the supply that a feed's current comes from: where it starts at
// a junction, the one that the first feed into that junction leads back to.
func (r *Run) SupplyOf(feed int) Supply {
	at := r.Feeds[feed].From
	for range r.Feeds { // a loop of junctions cannot lead back for longer
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
