package devices

import (
	"context"
	"fmt"
	"math"
	"time"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
)

// Board is a simulated sensor board. It prints a round of lines, one or more
// a channel, at a steady interval.
type Board struct {
	Wire
	channels []string
	interval time.Duration
	lines    func(channel string) string
}

// BoardGreeting is the comment that a simulated board begins with.
const BoardGreeting = "# OHMKEEP SIMULATED BOARD"

// NewBoard returns a board of INA226 sensors at the instrument's end of a pair; it prints the lines
// of the shipped profile ina226-lines. source returns the true bus voltage and current of a channel
// in SI; NaN means that the sensor does not answer. Values beyond a register's range are sent as
// the end of the range.
func NewBoard(p *Pair, channels []string, source func(channel string, q run.Quantity) float64, interval time.Duration) (*Board, error) {
	shipped, err := profile.Load("ina226-lines", "")
	if err != nil {
		return nil, err
	}
	perCount := map[run.Quantity]float64{}
	for _, f := range shipped.Line.Fields {
		perCount[f.Quantity] = f.PerCount
	}
	return &Board{Wire: Wire{device: p.Device}, channels: channels, interval: interval, lines: func(channel string) string {
		volts, amps := source(channel, run.Voltage), source(channel, run.Current)
		if math.IsNaN(volts) || math.IsNaN(amps) {
			return fmt.Sprintf("ch=%s fault=no answer\n", channel)
		}
		return fmt.Sprintf("ch=%s bus=%d shunt=%d\n", channel,
			register(volts/perCount[run.Voltage], 0), register(amps/perCount[run.Current], math.MinInt16))
	}}, nil
}

// register rounds to the counts of a 16-bit register, whose bus half has no
// negative side.
func register(counts float64, lowest int) int {
	return int(math.Round(max(float64(lowest), min(math.MaxInt16, counts))))
}

// NewPlainBoard returns a board that prints plain lines, ID,VALUE,UNIT. source returns a value in
// SI or °C; NaN means that the channel has no such value.
func NewPlainBoard(p *Pair, channels []string, source func(channel string, q run.Quantity) float64, interval time.Duration) *Board {
	forms := []struct {
		quantity run.Quantity
		form     string
	}{{run.Voltage, "%s,%.4f,V\n"}, {run.Current, "%s,%.4f,A\n"}, {run.Temperature, "%s,%.2f,degC\n"}}
	return &Board{Wire: Wire{device: p.Device}, channels: channels, interval: interval, lines: func(channel string) string {
		text := ""
		for _, f := range forms {
			if x := source(channel, f.quantity); !math.IsNaN(x) {
				text += fmt.Sprintf(f.form, channel, x)
			}
		}
		return text
	}}
}

// Run prints until ctx ends or the cable is closed.
func (b *Board) Run(ctx context.Context) error {
	beat := time.NewTicker(b.interval)
	defer beat.Stop()
	if err := b.Send(BoardGreeting + "\n"); err != nil {
		return ctx.Err()
	}
	for {
		for _, channel := range b.channels {
			if err := b.Send(b.lines(channel)); err != nil {
				return ctx.Err()
			}
		}
		select {
		case <-beat.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
