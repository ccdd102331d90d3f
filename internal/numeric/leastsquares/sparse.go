package leastsquares

// sparse is a matrix of which only the entries other than zero are held, row after row.
type sparse struct {
	start []int32 // by row: its first entry; and the number of all entries
	at    []int32 // columns, ascending in each row
	value []float64
}

// newSparse returns a matrix with memory for so many rows and entries.
func newSparse(rows, entries int) *sparse {
	return &sparse{start: make([]int32, 0, rows+1), at: make([]int32, 0, entries), value: make([]float64, 0, entries)}
}

// clear removes all rows.
func (s *sparse) clear() {
	s.start, s.at, s.value = append(s.start[:0], 0), s.at[:0], s.value[:0]
}

// add adds an entry to the row that endRow will end.
func (s *sparse) add(column int, x float64) {
	s.at, s.value = append(s.at, int32(column)), append(s.value, x)
}

// endRow ends a row.
func (s *sparse) endRow() { s.start = append(s.start, int32(len(s.at))) }

// rows returns the number of rows.
func (s *sparse) rows() int { return len(s.start) - 1 }

// row returns the columns and values of the entries of row i.
func (s *sparse) row(i int) (at []int32, value []float64) {
	from, to := s.start[i], s.start[i+1]
	return s.at[from:to], s.value[from:to]
}
