package leastsquares

import "testing"

// TestTolerance: a fit that may leave a part of the sum of squares ends earlier, says
// that it converged, and leaves no more than that; one that may leave all of it stays
// at its start.
func TestTolerance(t *testing.T) {
	set := readNonlinear(t, "Misra1a")
	fit := func(tolerance float64) *Fit {
		f, err := Solve(regression{set, exponentialRise}, set.starts[1], nil, Options{Tolerance: tolerance})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	last := fit(0)
	full := last.Evaluations
	for _, tolerance := range []float64{1e-12, 1e-4, 1e-1, 1} {
		f := fit(tolerance)
		if !f.Converged || f.Evaluations > last.Evaluations {
			t.Errorf("tolerance %g: converged %v after %d evaluations, %d for less", tolerance, f.Converged, f.Evaluations, last.Evaluations)
		}
		if left := f.SumSquares - set.sumSquares; left > 2*tolerance*f.SumSquares+1e-9*set.sumSquares {
			t.Errorf("tolerance %g leaves %g of %g", tolerance, left, f.SumSquares)
		}
		last = f
	}
	if last.Evaluations != 1 || full <= 3 {
		t.Errorf("%d evaluations where all may be left, %d by default", last.Evaluations, full)
	}
}
