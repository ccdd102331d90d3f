package planttest

// stated is the accuracy of one hand meter: common kinds of 4000, 6000 and 2000 counts,
// each with a clamp.
type stated struct {
	percent, counts float64
	ranges          [][2]float64 // V: end and one count
	clamp           [4]float64   // A: end, one count; percent, counts
}

var meters = []stated{
	{0.5, 3, [][2]float64{{0.6, 0.0001}, {6, 0.001}, {60, 0.01}}, [4]float64{60, 0.01, 1.5, 3}},
	{0.8, 3, [][2]float64{{0.4, 0.0001}, {4, 0.001}, {40, 0.01}}, [4]float64{40, 0.01, 2, 5}},
	{0.5, 2, [][2]float64{{0.2, 0.0001}, {2, 0.001}, {20, 0.01}, {200, 0.1}}, [4]float64{20, 0.01, 2, 4}},
}

func (m stated) write(say func(string, ...any)) {
	say("[[meter]]\nname = \"hand\"")
	for _, r := range m.ranges {
		say("  [[meter.range]]\n  quantity = \"voltage\"\n  up_to = %g\n  resolution = %g\n  percent = %g\n  counts = %g", r[0], r[1], m.percent, m.counts)
	}
	say("  [[meter.range]]\n  quantity = \"current\"\n  up_to = %g\n  resolution = %g\n  percent = %g\n  counts = %g",
		m.clamp[0], m.clamp[1], m.clamp[2], m.clamp[3])
	say("  [[meter.range]]\n  quantity = \"temperature\"\n  up_to = 100\n  resolution = 0.1\n  percent = 0\n  counts = 15")
}
