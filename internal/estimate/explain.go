package estimate

import (
	"slices"

	"ohmkeep/internal/leastsquares"
)

// explain finds what explains the readings best: wrong readings alone, or open
// conductors and wrong readings. Open conductors are looked for where few wrong
// readings do not explain enough, and must save openGain each (withOpens). Of the two
// accounts the one is taken whose sum of squares is less, each reading left out being
// charged the square of suspectAt, each open conductor openCharge and a fit that did
// not settle openGain.
func (p *problem) explain(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	plain, err := p.withoutSuspects(fit)
	if err != nil {
		return nil, err
	}
	clean := p.leftOut() <= fewWrong && p.pValue(plain) >= misfit && plain.Converged
	if clean && len(p.partings(plain)) == 0 {
		return plain, nil
	}
	account := p.account(plain)
	out := p.marks()
	p.setMarks(nil)
	open := p.withOpens(fit)
	if len(p.parted) == 0 {
		p.setMarks(out)
		return plain, nil
	}
	opened, err := p.withoutSuspects(open)
	if err == nil {
		opened = p.closed(opened)
	}
	if err == nil && p.account(opened) < account {
		return opened, nil
	}
	for _, c := range p.parted {
		p.release(c)
	}
	p.parted = nil
	p.setMarks(out)
	return p.solve(plain.X)
}

// closed takes back each conductor held open without which the readings are explained
// about as well, by one that is sound: a bad plus and a parted minus may show the same,
// and a fit that begins at a sound joint finds only the second of the two.
func (p *problem) closed(fit *leastsquares.Fit) *leastsquares.Fit {
	for i := 0; i < len(p.parted); {
		c := p.parted[i]
		p.release(c)
		near := append([]float64(nil), fit.X...)
		near[c.at] = p.unknowns[c.at].mean
		trial, err := p.solve(near)
		if err == nil && trial.Converged && trial.X[c.at] < bend(openMaybe) && trial.SumSquares < fit.SumSquares+openGain {
			p.parted = slices.Delete(p.parted, i, i+1)
			fit = trial
			continue
		}
		p.hold(c)
		i++
	}
	return fit
}

// fewWrong is how many readings may be wrong before an open conductor is suspected
// instead, which is seen in every reading behind it.
const fewWrong = 2

// account is the sum of squares with the charges of what was left out or opened.
func (p *problem) account(fit *leastsquares.Fit) float64 {
	sum := fit.SumSquares + suspectAt*suspectAt*float64(p.leftOut())
	sum += openCharge * float64(len(p.parted))
	if !fit.Converged {
		sum += openGain
	}
	return sum
}

func (p *problem) leftOut() int {
	n := 0
	for _, o := range p.observations {
		if o.out && !o.barred {
			n++
		}
	}
	return n
}

// marks and setMarks keep and restore which readings are left out; nil is none.
func (p *problem) marks() []bool {
	out := make([]bool, len(p.observations))
	for i, o := range p.observations {
		out[i] = o.out
	}
	return out
}

func (p *problem) setMarks(out []bool) {
	for i := range p.observations {
		p.observations[i].out = out != nil && out[i] || p.observations[i].barred
	}
}
