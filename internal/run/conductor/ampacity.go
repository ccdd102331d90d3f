package conductor

// cords lists the smallest cross-section, mm², of a flexible two-core cord for a rated
// current, A: IEC 60335-1 Table 11, as restated.
var cords = []struct{ area, amps float64 }{
	{0.5, 3}, {0.75, 6}, {1.0, 10}, {1.5, 16}, {2.5, 25}, {4, 32}, {6, 40}, {10, 63},
}

// Ampacity returns the current in A that a published table allows for a flexible
// two-core cord of this conductor, and the name of the table. It is the value of the
// table's next thinner size. Below 0.5 mm², where the table ends, it is proportional to the
// area, which is on the safe side: a thin wire cools better for its area than a thick one. ok
// is false above 16 mm², where the table has no value.
//
// A warm place, a bundle or a buried cable allows less; local codes decide.
func (c Conductor) Ampacity() (amps float64, source string, ok bool) {
	const thickestRated = 16 // mm²
	if c.area > thickestRated {
		return 0, "", false
	}
	source = "IEC 60335-1 Table 11, flexible cords"
	amps = cords[0].amps * c.area / cords[0].area
	for _, row := range cords {
		if c.area >= row.area*(1-1e-9) {
			amps = row.amps
		}
	}
	if c.area < cords[0].area {
		source += ", in proportion to the area below 0.5 mm²"
	}
	if c.metal.rating != 1 {
		source += ", 80 % of it for a metal other than copper"
	}
	return amps * c.metal.rating, source, true
}
