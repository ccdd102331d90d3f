package repair

import "slices"

// remaining names the joints and feeds that an edit leaves above their limits. A bad
// contact gets worse and hot at any load, so that a plan which leaves one in place
// fails however little it asks of the run. A feed whose wire is as stated and only drops
// too much at the design step is no bad contact; other repairs may relieve it.
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
