package model

// minRepeats is the least number of readings in a repetition. A single reading that repeats another
// one is an outlier like any other where it is wrong.
const minRepeats = 2

// findRepetitions numbers the repetitions. A repetition is a group of at least minRepeats readings in
// one step and meter range that show the same value as the reading before them, at other places. That
// reading is not in the group. A display that holds its value gives such a group, but so do equal
// voltages.
func (m *Model) findRepetitions() {
	type display struct{ step, meterRange int }
	shown := map[display][]int{} // observations with the latest value of that display
	for i := range m.Observations {
		o := &m.Observations[i]
		at := display{o.Step, o.MeterRange}
		same := shown[at]
		if len(same) == 0 || m.Observations[same[0]].Value != o.Value {
			shown[at] = []int{i}
			continue
		}
		if last := &m.Observations[same[len(same)-1]]; last.Feed == o.Feed && last.From == o.From && last.To == o.To {
			continue // the same place again
		}
		same = append(same, i)
		shown[at] = same
		switch repeats := same[1:]; {
		case len(repeats) == minRepeats:
			m.repetitions++
			for _, k := range repeats {
				m.Observations[k].Repetition = m.repetitions
			}
		case len(repeats) > minRepeats:
			o.Repetition = m.Observations[repeats[0]].Repetition
		}
	}
}
