package estimate

// Sides gives, for each direction of what is not known of the run, the accounts one
// standard deviation to either side of the best one, in a step. The directions are
// the columns of a Cholesky factor of the covariance, so the variance of anything
// that depends on them linearly is the sum of the squares of what it differs by.
// Directions that only meters or other steps lie in are left out.
func (e *Estimate) Sides(step int) [][2]Account {
	p := e.problem
	k, d := p.stepOf(step), len(e.x)
	factor := e.factor()
	off := make([]float64, d)
	var sides [][2]Account
	for j := range d {
		touches := false
		for i, u := range p.unknowns {
			off[i] = e.inflation * factor[i*d+j]
			switch u.what {
			case gain, offset:
				continue
			case stepVolts, stepScale, stepShift:
				if u.step != k {
					continue
				}
			}
			touches = touches || off[i] != 0
		}
		if !touches {
			continue
		}
		high := e.AccountAt(step, off)
		for i := range off {
			off[i] = -off[i]
		}
		sides = append(sides, [2]Account{high, e.AccountAt(step, off)})
	}
	return sides
}
