package plant_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// script is the reference beside which the judgement is measured: a weighted least-squares fit
// of about a hundred lines, as a careful person would write it for one evening's readings. It
// shares the network with the fit and nothing else: derivatives are differences, resistances are
// logarithms, the scatter of each meter range is learned from its residuals, digits count as
// written, and each step has its own copper temperature and supply voltages. It does not search
// for wrong readings, open conductors or exchanged feeds. It shows which joints such readings
// can prove at best.
type script struct {
	run    *run.Run
	solver []*ladder.Solver // by step
	priors []normal
	at     layout
	data   []datum
	cost   float64 // of the last fit: minus twice the logarithm of its likelihood with the scatter learned
}

type normal struct{ mean, deviation float64 }

// layout is the first index of each kind of unknown.
type layout struct{ joints, feeds, reels, ohms, volts, scale, idle, shift, stretch, warmth, gain, offset int }

type datum struct {
	step, feed, at  int // feed −1 for a voltage; at is the meter range
	from, to        run.Point
	value, variance float64
}

func newScript(t *testing.T, r *run.Run, readings []reading.Reading) *script {
	t.Helper()
	s := &script{run: r}
	add := func(n int, mean, deviation float64) (first int) {
		first = len(s.priors)
		for range n {
			s.priors = append(s.priors, normal{mean, deviation})
		}
		return first
	}
	steps, ranges := len(r.Steps), r.Meters[0].Ranges
	s.at.joints = add(2*len(r.Joints), math.Log(0.0015), 1.5)
	s.at.feeds = add(2*len(r.Feeds), 0, 0.5)
	s.at.reels = add(2*len(r.Reels), 0, 0.15)
	s.at.ohms = add(len(r.Supplies), math.Log(0.004), 0.7)
	s.at.volts = add(steps*len(r.Supplies), 0, 0.03)
	s.at.scale, s.at.idle = add(steps, 0, 0.2), add(1, 0, 0.3)
	s.at.shift, s.at.stretch = add(1, 0, 0.03), add(1, 0, 0.3)
	s.at.warmth = add(steps, r.Ambient+5, 8)
	s.at.gain = len(s.priors)
	for _, x := range ranges {
		add(1, 0, math.Max(x.Fraction, 1e-6)/math.Sqrt(3))
	}
	s.at.offset = len(s.priors)
	for _, x := range ranges {
		add(1, 0, x.Counts*x.Resolution/math.Sqrt(3))
	}
	var places []run.Place
	written := map[int]float64{} // by range: the last digit that any reading of it shows
	for _, x := range readings {
		d := datum{step: r.StepIndex(x.Step), feed: -1, value: x.Value, at: r.Meters[0].Range(x.Quantity, x.Value)}
		switch x.Quantity {
		case run.Temperature:
			s.priors[s.at.warmth+d.step] = normal{x.Value, 2}
			continue
		case run.Current:
			d.feed = r.FeedIndex(x.From)
		default:
			d.from, _ = r.Point(x.From) // written by the plant
			d.to, _ = r.Point(x.To)
			places = append(places, d.from.Place, d.to.Place)
		}
		_, decimals, _ := strings.Cut(x.Text, ".")
		digit := math.Pow(10, -float64(len(decimals)))
		if strings.HasPrefix(x.Unit, "m") {
			digit /= 1000
		}
		if have, ok := written[d.at]; !ok || digit < have {
			written[d.at] = digit
		}
		s.data = append(s.data, d)
	}
	for i := range s.data {
		d := &s.data[i]
		digit := math.Max(written[d.at], ranges[d.at].Resolution)
		d.variance = digit*digit/12 + math.Pow(0.5*ranges[d.at].Resolution, 2)
	}
	net, err := ladder.New(r, places...)
	if err != nil {
		t.Fatal(err)
	}
	for range r.Steps {
		s.solver = append(s.solver, net.NewSolver())
	}
	return s
}

// predict writes the predictions of the readings of one step, or of all where step is −1.
func (s *script) predict(x []float64, step int, out []float64) error {
	r := s.run
	for k := range r.Steps {
		if step >= 0 && k != step || !slices.ContainsFunc(s.data, func(d datum) bool { return d.step == k }) {
			continue
		}
		par, warm := ladder.Stated(r), 1+0.00393*(x[s.at.warmth+k]-20)
		for i, j := range r.Joints {
			par.Joints[i].Minus = math.Exp(x[s.at.joints+2*i+1])
			if !j.PlusCut {
				par.Joints[i].Plus = math.Exp(x[s.at.joints+2*i])
			}
		}
		for i, f := range r.Feeds {
			wire := f.Ohms / 2 * (warm - 1)
			par.Feeds[i] = ladder.Rails{Plus: f.Ohms/2*math.Exp(x[s.at.feeds+2*i]) + wire, Minus: f.Ohms/2*math.Exp(x[s.at.feeds+2*i+1]) + wire}
		}
		for i, reel := range r.Reels {
			half := reel.Strip.LoopOhms / 2 * reel.SegmentLength() * warm
			par.Reels[i] = ladder.Rails{Plus: half * math.Exp(x[s.at.reels+2*i]), Minus: half * math.Exp(x[s.at.reels+2*i+1])}
		}
		for i, p := range r.Supplies {
			par.Supplies[i] = ladder.Source{Volts: p.Volts * (1 + x[s.at.volts+k*len(r.Supplies)+i]), Ohms: math.Exp(x[s.at.ohms+i])}
		}
		by := pixel.Adjust{Scale: math.Exp(x[s.at.scale+k]), Idle: math.Exp(x[s.at.idle]),
			Shift: r.Reels[0].Strip.Volts * x[s.at.shift], Stretch: x[s.at.stretch]}
		if err := s.solver[k].Solve(&par, ladder.Loads(r, r.Steps[k], by)); err != nil {
			return err
		}
		for i, d := range s.data {
			if d.step != k {
				continue
			}
			true_ := 0.0
			if d.feed >= 0 {
				true_ = s.solver[k].FeedAmps(d.feed, run.Plus)
			} else {
				true_ = s.solver[k].Potential(d.from) - s.solver[k].Potential(d.to)
			}
			out[i] = true_*(1+x[s.at.gain+d.at]) + x[s.at.offset+d.at]
		}
	}
	return nil
}

// stepOf is the only step that an unknown belongs to, −1 for all.
func (s *script) stepOf(j int) int {
	switch n := len(s.run.Supplies); {
	case j >= s.at.volts && j < s.at.scale:
		return (j - s.at.volts) / n
	case j >= s.at.scale && j < s.at.idle:
		return j - s.at.scale
	case j >= s.at.warmth && j < s.at.gain:
		return j - s.at.warmth
	}
	return -1
}

// fit returns the unknowns and their covariance: damped Gauss-Newton steps in units of the
// priors' deviations from a start, nil for the priors' means, with the scatter of each range learned
// along the way. It sets the cost.
func (s *script) fit(start []float64) (x []float64, covariance *mat.SymDense, ok bool) {
	n, m := len(s.priors), len(s.data)
	x = make([]float64, n)
	for j, p := range s.priors {
		x[j] = p.mean
	}
	copy(x, start)
	out, moved := make([]float64, m), make([]float64, m)
	if s.predict(x, -1, out) != nil {
		return nil, nil, false
	}
	factor := map[int]float64{} // by range, on the variances
	for _, d := range s.data {
		factor[d.at] = 1
	}
	sum := func(x, out []float64) (sum float64) {
		for i, d := range s.data {
			sum += math.Pow(d.value-out[i], 2) / (d.variance * factor[d.at])
		}
		for j, p := range s.priors {
			sum += math.Pow((x[j]-p.mean)/p.deviation, 2)
		}
		return sum
	}
	damping := 1e-3
	for range 40 {
		jac := mat.NewDense(m+n, n, nil)
		right := mat.NewVecDense(m+n, nil)
		for j, p := range s.priors {
			const h = 1e-4
			was := x[j]
			x[j] += h * p.deviation
			copy(moved, out)
			if s.predict(x, s.stepOf(j), moved) != nil {
				return nil, nil, false
			}
			x[j] = was
			for i, d := range s.data {
				jac.Set(i, j, (moved[i]-out[i])/h/math.Sqrt(d.variance*factor[d.at]))
			}
			jac.Set(m+j, j, 1)
			right.SetVec(m+j, (p.mean-x[j])/p.deviation)
		}
		for i, d := range s.data {
			right.SetVec(i, (d.value-out[i])/math.Sqrt(d.variance*factor[d.at]))
		}
		var normalMatrix mat.SymDense
		normalMatrix.SymOuterK(1, jac.T())
		var gradient mat.VecDense
		gradient.MulVec(jac.T(), right)
		before, improved, size := sum(x, out), false, 0.0
		for range 8 {
			damped := mat.NewSymDense(n, nil)
			damped.CopySym(&normalMatrix)
			for j := range n {
				damped.SetSym(j, j, damped.At(j, j)*(1+damping))
			}
			var cholesky mat.Cholesky
			var step mat.VecDense
			if !cholesky.Factorize(damped) || cholesky.SolveVecTo(&step, &gradient) != nil {
				return nil, nil, false
			}
			next := make([]float64, n)
			for j, p := range s.priors {
				next[j] = x[j] + math.Min(math.Max(step.AtVec(j), -2), 2)*p.deviation
			}
			if s.predict(next, -1, moved) == nil && sum(next, moved) <= before {
				size = mat.Norm(&step, math.Inf(1))
				copy(x, next)
				copy(out, moved)
				damping, improved = damping/10, true
				break
			}
			damping = 10*damping + 1e-6
		}
		var cholesky mat.Cholesky
		if !cholesky.Factorize(&normalMatrix) {
			return nil, nil, false
		}
		covariance = mat.NewSymDense(n, nil)
		if cholesky.InverseTo(covariance) != nil {
			return nil, nil, false
		}
		changed := s.learn(factor, out, jac, covariance)
		s.cost = sum(x, out) + s.scatterCost(factor)
		if (!improved || size < 1e-3) && changed < 0.02 {
			return x, covariance, true
		}
	}
	return x, covariance, true
}

// scatterCost returns the part of the cost that the scatter of the ranges adds to the sum of squares.
func (s *script) scatterCost(factor map[int]float64) (cost float64) {
	for _, d := range s.data {
		cost += math.Log(factor[d.at])
	}
	for _, f := range factor {
		cost += scatterWeight * (1/f + math.Log(f) - 1)
	}
	return cost
}

// scatterWeight is for how many readings the variance assumed counts.
const scatterWeight = 4.0

// learn sets the factor on the variances of each range so that its residuals have the size that
// the fit leaves them, with the weight of four more readings for the variance assumed; it
// returns the largest relative change.
func (s *script) learn(factor map[int]float64, out []float64, jac *mat.Dense, covariance *mat.SymDense) (largest float64) {
	squares, freedom := map[int]float64{}, map[int]float64{}
	var lever mat.VecDense
	for i, d := range s.data {
		row := jac.RowView(i)
		lever.MulVec(covariance, row)
		squares[d.at] += math.Pow(d.value-out[i], 2) / d.variance
		freedom[d.at] += math.Max(1-mat.Dot(row, &lever), 0)
	}
	for at, was := range factor {
		factor[at] = (scatterWeight + squares[at]) / (scatterWeight + freedom[at])
		largest = math.Max(largest, math.Abs(factor[at]/was-1))
	}
	return largest
}

// belief holds draws from the script's posterior of an element, Ω or Ω/m, ascending.
type belief []float64

func (b belief) at(p float64) float64 { return b[int(p*float64(len(b)-1)+0.5)] }

func (b belief) over(limit float64) float64 {
	i, _ := slices.BinarySearch(b, limit)
	return 1 - float64(i)/float64(len(b))
}

// beliefs draws all joints, feeds and reels from the covariance; nil where the fit fails.
func (s *script) beliefs() map[string]belief {
	x, covariance, ok := s.fit(nil)
	var cholesky mat.Cholesky
	if !ok || !cholesky.Factorize(covariance) {
		return nil
	}
	var lower mat.TriDense
	cholesky.LTo(&lower)
	const draws = 2000
	rng, list := rand.New(rand.NewPCG(1, 2)), map[string]belief{}
	n := len(x)
	z, y := make([]float64, n), make([]float64, n)
	for range draws {
		for j := range z {
			z[j] = rng.NormFloat64()
		}
		for j, p := range s.priors {
			off := 0.0
			for k := range j + 1 {
				off += lower.At(j, k) * z[k]
			}
			y[j] = x[j] + off*p.deviation
		}
		add := func(name string, ohms float64) { list[name] = append(list[name], ohms) }
		for i, j := range s.run.Joints {
			ohms := math.Exp(y[s.at.joints+2*i+1])
			if !j.PlusCut {
				ohms += math.Exp(y[s.at.joints+2*i])
			}
			add("joint "+j.Name, ohms)
		}
		for i, f := range s.run.Feeds {
			add("feed "+f.Name, f.Ohms/2*(math.Exp(y[s.at.feeds+2*i])+math.Exp(y[s.at.feeds+2*i+1])))
		}
		for i, reel := range s.run.Reels {
			add("reel "+reel.Name, reel.Strip.LoopOhms/2*(math.Exp(y[s.at.reels+2*i])+math.Exp(y[s.at.reels+2*i+1])))
		}
	}
	for _, b := range list {
		slices.Sort(b)
	}
	return list
}
