package cli

import (
	"bytes"
	"io"
	"math/rand/v2"
	"regexp"
	"sync"
	"testing"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
)

// surveyor is a person at a terminal who reads what survey asks, moves the leads along a simulated
// run, and types what the meter shows. It is the standard input and the standard error of the command.
type surveyor struct {
	t     *testing.T
	run   *run.Run
	plant *plant.Plant
	meter *plant.Meter
	rng   *rand.Rand
	// mistake changes what is typed for a place; nil: nothing is.
	mistake func(step, from, to, typed string) string

	mu       sync.Mutex
	said     bytes.Buffer
	answered int // up to where of said
	step     string
	typed    []string // values, in their order
	left     []byte   // of the answer, not yet read
}

func newSurveyor(t *testing.T, r *run.Run) *surveyor {
	rng := rand.New(rand.NewPCG(7, 8)) // any would do; these make the test repeatable
	return &surveyor{t: t, run: r, plant: plant.New(r, plant.Plain, rng), meter: plant.NewMeter(r.Meters[0], plant.Plain, rng), rng: rng}
}

func (p *surveyor) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.said.Write(b)
}

func (p *surveyor) text() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.said.String()
}

var (
	askedStep    = regexp.MustCompile(`(?s)\nStep "([^"]+)", [^\n]*\n.*Enter when it does \(s = leave out\): $`)
	askedVoltage = regexp.MustCompile(`  (\S+) to (\S+), in V \(s = leave out\): $`)
	askedCurrent = regexp.MustCompile(`  the current of feed (\S+), in A \(s = leave out\): $`)
)

// Read gives the answer to the last question.
func (p *surveyor) Read(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.left) == 0 {
		text := p.said.Bytes()[p.answered:]
		p.answered = p.said.Len()
		switch {
		case askedVoltage.Match(text):
			m := askedVoltage.FindSubmatch(text)
			p.answer(run.Voltage, string(m[1]), string(m[2]))
		case askedCurrent.Match(text):
			p.answer(run.Current, string(askedCurrent.FindSubmatch(text)[1]), "")
		case askedStep.Match(text):
			p.step = string(askedStep.FindSubmatch(text)[1])
			if err := p.plant.Set(p.run.StepIndex(p.step)); err != nil {
				p.t.Error(err)
			}
			p.left = []byte("\n")
		default:
			p.t.Errorf("a question of an unknown kind: %q", text)
			return 0, io.EOF
		}
	}
	n := copy(b, p.left)
	p.left = p.left[n:]
	return n, nil
}

func (p *surveyor) answer(q run.Quantity, from, to string) {
	x := reading.Reading{Quantity: q}
	p.meter.Read(&x, p.plant.True(q, from, to), p.rng)
	typed := x.Text + " " + x.Unit
	if p.mistake != nil {
		typed = p.mistake(p.step, from, to, typed)
	}
	p.typed = append(p.typed, typed)
	p.left = []byte(typed + "\n")
}
