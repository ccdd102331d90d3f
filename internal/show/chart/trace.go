package chart

import "math"

// trace turns a row of values into the lines to draw: at most the first, the
// least, the greatest and the last value of every pixel column, nothing that
// lies on a straight line between its neighbours, a new line behind every gap.
// xAt places value number i; it must not decrease.
func trace(n int, xAt, yAt func(i int) float64) [][]point {
	var lines [][]point
	var line []point
	flush := func() {
		if len(line) > 0 {
			lines = append(lines, straighten(line))
			line = nil
		}
	}
	for i := 0; i < n; {
		column := math.Floor(xAt(i))
		first, least, greatest := i, i, i
		last := -1
		for ; i < n && math.Floor(xAt(i)) == column; i++ {
			y := yAt(i)
			if math.IsNaN(y) {
				break
			}
			if y < yAt(least) {
				least = i
			}
			if y > yAt(greatest) {
				greatest = i
			}
			last = i
		}
		if last < 0 { // a gap
			flush()
			i++
			continue
		}
		kept := -1
		for _, k := range []int{first, min(least, greatest), max(least, greatest), last} {
			if k > kept {
				line = append(line, point{xAt(k), yAt(k)})
				kept = k
			}
		}
	}
	flush()
	return lines
}

// straighten removes points within a tenth of a pixel of the line through the remaining ones
// (greedy, each point checked once against a sector of permitted directions).
func straighten(line []point) []point {
	const tolerance = 0.1
	if len(line) < 3 {
		return line
	}
	out := []point{line[0]}
	from := line[0]
	low, high := math.Inf(-1), math.Inf(1)
	for i := 1; i < len(line); i++ {
		dx := line[i].x - from.x
		slope := (line[i].y - from.y) / dx
		if dx > 0 && slope >= low && slope <= high {
			low = max(low, (line[i].y-tolerance-from.y)/dx)
			high = min(high, (line[i].y+tolerance-from.y)/dx)
			continue
		}
		if i > 1 && line[i-1] != from {
			from = line[i-1]
			out = append(out, from)
		}
		low, high = math.Inf(-1), math.Inf(1)
		if dx = line[i].x - from.x; dx > 0 {
			low, high = (line[i].y-tolerance-from.y)/dx, (line[i].y+tolerance-from.y)/dx
		} else if i < len(line)-1 {
			out = append(out, line[i])
			from = line[i]
		}
	}
	return append(out, line[len(line)-1])
}
