package plant

// AsStated is a plant that is what a run file says, for external tests.
var AsStated = asStated

// Excess returns the currents that flow into each node and not out of it, A.
func (p *Plant) Excess() []float64 {
	p.net.imbalance(p.volts)
	return p.net.excess
}
