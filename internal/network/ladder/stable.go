package ladder

// Stable reports whether the balance that the last Solve found holds by itself, so
// that a small disturbance dies away: every load line that falls with the voltage
// is outweighed by the copper in front of it (the nodal conductances are
// quasi-definite). Only regulated drivers can make it false.
func (s *Solver) Stable() bool {
	definite := s.condense(tangent)
	s.assemble()
	negative, ok := s.matrix.Factorise()
	s.factored = ok
	return ok && definite && negative == s.negative
}
