package devices

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
)

// MeterIdentity is what a simulated multimeter answers to *IDN?.
const MeterIdentity = "OHMKEEP,SIMULATED METER,0,0"

// queueDepth is how many errors the meter keeps (common practice, no source).
const queueDepth = 20

// Multimeter is a simulated meter that speaks SCPI. It measures voltage, current
// and temperature with the ranges of the shipped SCPI profile, rounds to a
// count of the range, and shows 9.9E37 beyond the last. CONF with a number holds
// the range that the number needs; CONF? returns function and range.
type Multimeter struct {
	Wire
	// Settling is how long after a change of function or range it shows half of the true
	// value. Set it before Run.
	Settling time.Duration

	mu      sync.Mutex // of quant, held and changed: Turn comes from another goroutine
	quant   run.Quantity
	held    float64 // what the held range has to hold; 0 = any range that fits
	changed time.Time

	source func(run.Quantity) float64
	ranges run.Meter
	result string // of the last measurement; "" = none
	queue  []string
}

// NewMultimeter returns a meter at the instrument's end of a pair. source returns the true value in
// SI when the meter measures.
func NewMultimeter(p *Pair, source func(run.Quantity) float64) (*Multimeter, error) {
	shipped, err := profile.Load("scpi-multimeter", "")
	if err != nil {
		return nil, err
	}
	ranges := shipped.Meter
	ranges.Ranges = append(ranges.Ranges, run.Range{Quantity: run.Temperature, UpTo: 200, Resolution: 0.1})
	return &Multimeter{Wire: Wire{device: p.Device}, source: source, ranges: ranges}, nil
}

// Run answers until ctx ends or the cable is closed.
func (m *Multimeter) Run(ctx context.Context) error {
	stop := context.AfterFunc(ctx, func() { _ = m.Unplug() })
	defer stop()
	lines := bufio.NewScanner(m.device)
	for lines.Scan() {
		var answers []string
		for _, message := range strings.Split(lines.Text(), ";") {
			if a := m.execute(strings.ToUpper(strings.TrimSpace(message))); a != "" {
				answers = append(answers, a)
			}
		}
		if len(answers) == 0 {
			continue
		}
		if err := m.Send(strings.Join(answers, ";") + "\n"); err != nil {
			return ctx.Err()
		}
	}
	return ctx.Err()
}

// execute executes one message and returns its answer; "" = none.
func (m *Multimeter) execute(message string) string {
	header, parameters, _ := strings.Cut(message, " ")
	switch header = shorten(header); header {
	case "":
	case "*IDN?":
		return MeterIdentity
	case "*CLS":
		m.queue = nil
	case "*RST":
		m.set(run.Voltage, 0)
		m.result = ""
	case "CONF?":
		return m.setting()
	case "SYST:REM", "SYST:LOC":
	case "SYST:ERR?", "SYST:ERR:NEXT?":
		return m.nextError()
	case "INIT":
		m.result = m.measure()
	case "FETC?":
		if m.result == "" {
			m.fail(-230, "Data corrupt or stale")
		}
		return m.result
	case "READ?":
		m.result = m.measure()
		return m.result
	default:
		return m.measurement(header, parameters)
	}
	return ""
}

// measurement executes the messages of functions, such as CONF:VOLT:DC and MEAS:VOLT:DC?.
func (m *Multimeter) measurement(header, parameters string) string {
	verb, function, _ := strings.Cut(strings.TrimSuffix(header, "?"), ":")
	q, known := map[string]run.Quantity{"VOLT": run.Voltage, "CURR": run.Current, "TEMP": run.Temperature}[strings.TrimSuffix(function, ":DC")]
	asks := strings.HasSuffix(header, "?")
	first, _, _ := strings.Cut(parameters, ",")
	holds, err := strconv.ParseFloat(strings.TrimSpace(first), 64)
	switch {
	case parameters != "" && (err != nil || m.ranges.Range(q, holds) < 0):
		m.fail(-222, "Data out of range")
	case known && verb == "CONF" && !asks:
		m.set(q, holds)
		m.result = ""
	case known && verb == "MEAS" && asks:
		m.set(q, holds)
		m.result = m.measure()
		return m.result
	default:
		m.fail(-113, "Undefined header")
	}
	return ""
}

// shorten turns the long form of a header into the short one that SCPI makes of
// it: four letters, or three where the fourth is a vowel.
func shorten(header string) string {
	words := strings.Split(strings.TrimPrefix(strings.TrimSuffix(header, "?"), ":"), ":")
	for i, w := range words {
		if len(w) > 4 && w[0] != '*' {
			w = w[:4]
			if strings.ContainsRune("AEIOU", rune(w[3])) {
				w = w[:3]
			}
			words[i] = w
		}
	}
	short := strings.Join(words, ":")
	if strings.HasSuffix(header, "?") {
		short += "?"
	}
	return short
}

// Turn sets the meter as a person at its front panel would.
func (m *Multimeter) Turn(q run.Quantity, holds float64) { m.set(q, holds) }

// set changes function and range; holds 0 lets the meter choose the range.
func (m *Multimeter) set(q run.Quantity, holds float64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.quant, m.held, m.changed = q, holds, time.Now()
}

// setting returns function and range, as CONF? does (the form is our own: the standard
// leaves it to the instrument).
func (m *Multimeter) setting() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	name := map[run.Quantity]string{run.Voltage: "VOLT", run.Current: "CURR", run.Temperature: "TEMP"}[m.quant]
	return fmt.Sprintf("%q", fmt.Sprintf("%s %+.6E", name, m.held))
}

// measure takes one reading in the smallest range that holds it, or in the one
// that is held, as NR3.
func (m *Multimeter) measure() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	x := m.source(m.quant)
	if math.IsNaN(x) {
		return "+9.91000000E+37"
	}
	if time.Since(m.changed) < m.Settling {
		x /= 2
	}
	i := m.ranges.Range(m.quant, x)
	if held := m.ranges.Range(m.quant, m.held); m.held > 0 && i >= 0 {
		if math.Abs(x) > m.ranges.Ranges[held].UpTo {
			i = -1
		} else {
			i = held
		}
	}
	if i < 0 {
		return fmt.Sprintf("%+.8E", math.Copysign(9.9e37, x))
	}
	count := m.ranges.Ranges[i].Resolution
	return fmt.Sprintf("%+.8E", math.Round(x/count)*count)
}

// fail puts an error into the queue; a full one ends with its own overflow.
func (m *Multimeter) fail(number int, text string) {
	if len(m.queue) == queueDepth {
		m.queue[queueDepth-1] = `-350,"Queue overflow"`
		return
	}
	m.queue = append(m.queue, fmt.Sprintf("%d,%q", number, text))
}

func (m *Multimeter) nextError() string {
	if len(m.queue) == 0 {
		return `0,"No error"`
	}
	oldest := m.queue[0]
	m.queue = m.queue[1:]
	return oldest
}
