package leastsquares

import "testing"

// TestTolerance: with a larger Tolerance a fit ends earlier, reports that it converged, and is
// above the minimum by no more than that part of the sum; with Tolerance 1 it stays at its start.
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

// sinking has its minimum where its derivative is zero, so that each full update goes half of
// the remaining way.
type sinking struct{}

func (sinking) Size() (residuals, parameters int) { return 2, 1 }

func (sinking) Evaluate(x, residuals []float64, jacobian *Matrix) error {
	residuals[0], residuals[1] = x[0]*x[0], 10
	if jacobian != nil {
		jacobian.Row(0)[0], jacobian.Row(1)[0] = 2*x[0], 0
	}
	return nil
}

// TestSlowProgress: a fit with slow progress ends no more than SlowProgress above the minimum, and reports
// that it converged; without SlowProgress it continues.
func TestSlowProgress(t *testing.T) {
	const slowProgress = 0.01
	with, err := Solve(sinking{}, []float64{3}, nil, Options{SlowProgress: slowProgress})
	if err != nil {
		t.Fatal(err)
	}
	without, err := Solve(sinking{}, []float64{3}, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !with.Converged || with.SumSquares > 100+slowProgress || with.Evaluations >= without.Evaluations {
		t.Errorf("sum %g after %d evaluations, converged %v; %d evaluations without slowProgress", with.SumSquares, with.Evaluations, with.Converged, without.Evaluations)
	}
	// So few updates that the sum still falls fast.
	cut, err := Solve(sinking{}, []float64{3}, nil, Options{SlowProgress: slowProgress, MaxIterations: 4})
	if err != nil || cut.Converged {
		t.Errorf("converged %v in four updates, %v", cut.Converged, err)
	}
}
