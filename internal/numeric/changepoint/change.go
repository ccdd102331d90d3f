package changepoint

import "math"

// Shape is what a change looks like.
type Shape int

const (
	None Shape = iota
	Jump       // a jump from one value to the next
	Bend       // a change of slope
)

// Course is a fit of a series with one change: the line or constant of Null, and a jump
// before point At or a bend at it.
type Course struct {
	Shape Shape
	At    int     // index of the first point after the jump, or of the bend
	Level float64 // value before the change, extrapolated to At; in units of y
	Size  float64 // of the jump, in units of y; of a bend the change of slope, per unit of x
	Rest  float64 // weighted sum of squared residuals
	Error float64 // standard deviation of Size, with 1/weight as the variance of a point
}

// Null fits a series without a change: a constant, or a straight line if sloped. It returns
// the weighted sum of squared residuals.
func Null(x, y, weight []float64, sloped bool) float64 {
	f := newSums(x, y, weight)
	_, rest, _ := f.null(sloped)
	return rest
}

// Best finds the jump and the bend with the least weighted sum of squared residuals. x ascends.
// weight is inversely proportional to the variance of y; no change is placed at a point of
// weight 0. Rest is +Inf where no change can be fitted. The run time is proportional to the
// number of points.
func Best(x, y, weight []float64, sloped bool) (jump, bend Course) {
	f := newSums(x, y, weight)
	n := len(x)
	jump, bend = Course{Rest: math.Inf(1)}, Course{Rest: math.Inf(1)}
	for k := 1; k < n; k++ {
		if weight[k] == 0 {
			continue
		}
		if c, ok := f.with(k, Jump, sloped); ok && c.Rest < jump.Rest {
			jump = c
		}
	}
	for k := range n - 1 {
		if weight[k] == 0 {
			continue
		}
		if c, ok := f.with(k, Bend, sloped); ok && c.Rest < bend.Rest {
			bend = c
		}
	}
	return jump, bend
}

// Courses returns the best course with a change of one shape at each point; its Rest is
// +Inf where there can be none. x and weight are as for Best.
func Courses(x, y, weight []float64, shape Shape, sloped bool) []Course {
	f := newSums(x, y, weight)
	all := make([]Course, len(x))
	for k := range all {
		all[k] = Course{Rest: math.Inf(1)}
		if weight[k] == 0 || shape == Jump && k == 0 || shape == Bend && k == len(x)-1 {
			continue
		}
		if c, ok := f.with(k, shape, sloped); ok {
			all[k] = c
		}
	}
	return all
}

// sums holds the sums of products from each point to the end.
type sums struct {
	x                        []float64
	w, wx, wxx, wy, wxy, wyy []float64
}

func newSums(x, y, weight []float64) *sums {
	n := len(x)
	f := &sums{x: make([]float64, n)}
	for _, v := range []*[]float64{&f.w, &f.wx, &f.wxx, &f.wy, &f.wxy, &f.wyy} {
		*v = make([]float64, n+1)
	}
	for i := n - 1; i >= 0; i-- {
		t := x[i] - x[0] // near zero, so that squares keep their digits
		f.x[i] = t
		w := weight[i]
		f.w[i] = f.w[i+1] + w
		f.wx[i] = f.wx[i+1] + w*t
		f.wxx[i] = f.wxx[i+1] + w*t*t
		f.wy[i] = f.wy[i+1] + w*y[i]
		f.wxy[i] = f.wxy[i+1] + w*t*y[i]
		f.wyy[i] = f.wyy[i+1] + w*y[i]*y[i]
	}
	return f
}

// null returns the constant or line without a change and its weighted sum of squared residuals.
func (f *sums) null(sloped bool) (line [2]float64, rest float64, ok bool) {
	if !sloped {
		a := f.wy[0] / f.w[0]
		return [2]float64{a, 0}, math.Max(0, f.wyy[0]-a*f.wy[0]), f.w[0] > 0
	}
	det := f.w[0]*f.wxx[0] - f.wx[0]*f.wx[0]
	if !(det > 1e-12*f.w[0]*f.wxx[0]) {
		return line, math.Inf(1), false
	}
	b := (f.w[0]*f.wxy[0] - f.wx[0]*f.wy[0]) / det
	a := (f.wy[0] - b*f.wx[0]) / f.w[0]
	return [2]float64{a, b}, math.Max(0, f.wyy[0]-a*f.wy[0]-b*f.wxy[0]), true
}

// with fits the null and one more column: 1 or x − x(k) from point k on, and 0 before it. The
// column is made orthogonal to the null's, which gives its reduction of the sum of squares.
func (f *sums) with(k int, shape Shape, sloped bool) (Course, bool) {
	// Inner products of the column h with 1, x, y and itself.
	t := f.x[k]
	h1, hx, hy, hh := f.w[k], f.wx[k], f.wy[k], f.w[k]
	if shape == Bend {
		h1 = f.wx[k] - t*f.w[k]
		hx = f.wxx[k] - t*f.wx[k]
		hy = f.wxy[k] - t*f.wy[k]
		hh = f.wxx[k] - 2*t*f.wx[k] + t*t*f.w[k]
	}
	line, rest, ok := f.null(sloped)
	if !ok {
		return Course{}, false
	}
	// h = p + q·x + part orthogonal to the null.
	p, q := h1/f.w[0], 0.0
	if sloped {
		det := f.w[0]*f.wxx[0] - f.wx[0]*f.wx[0]
		q = (f.w[0]*hx - f.wx[0]*h1) / det
		p = (h1 - q*f.wx[0]) / f.w[0]
	}
	own := hh - p*h1 - q*hx
	if !(own > 1e-9*hh) || hh == 0 {
		return Course{}, false
	}
	size := (hy - line[0]*h1 - line[1]*hx) / own
	level := line[0] - size*p + (line[1]-size*q)*t
	return Course{shape, k, level, size, math.Max(0, rest-size*size*own), 1 / math.Sqrt(own)}, true
}
