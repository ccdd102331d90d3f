package ladder

// Stable reports whether the solution of the last Solve is a stable operating point: a small
// disturbance dies away. It is stable where the conductance of the copper exceeds the negative
// slope of the load lines, so that the nodal matrix is quasi-definite. Only regulated drivers
// have falling load lines and can make it false.
func (s *Solver) Stable() bool {
	definite := s.condense(tangent)
	s.assemble()
	negative, ok := s.matrix.Factorise()
	s.factored = ok
	return ok && definite && negative == s.negative
}
