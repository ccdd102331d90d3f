package repair

import "slices"

// remaining returns the joints and feeds that an edit leaves above their limits. A bad contact gets
// worse and hot at any load, so a plan that leaves one fails at any level. A feed with wire as
// stated that only drops too much at the design step is not a bad contact; other repairs may
// relieve it.
func (k Basis) remaining(e *edit) (names []string) {
	for _, i := range k.FailingJoints {
		if e == nil || !slices.Contains(e.joints, i) {
			names = append(names, "joint "+k.Run.Joints[i].Name)
		}
	}
	for _, i := range k.BadFeeds {
		renewed := false
		if e != nil {
			_, renewed = e.rewired[i]
		}
		if !renewed {
			names = append(names, "feed "+k.Run.Feeds[i].Name)
		}
	}
	return names
}
