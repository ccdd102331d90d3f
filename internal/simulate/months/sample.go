package months

import (
	"math"
	"strconv"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// sample sets the run and reads all sensors once.
func (s *station) sample(at time.Time, check bool) ([]reading.Reading, error) {
	day := at.Sub(s.story.Begin).Hours() / 24
	whole := day / math.Max(1, float64(s.story.Days))
	p, h := s.plant, &s.healthy
	copy(p.Joints, h.Joints)
	copy(p.Feeds, h.Feeds)
	copy(p.Reels, h.Reels)
	for i := range p.Supplies {
		p.Supplies[i] = h.Supplies[i]
		p.Supplies[i].Volts -= s.story.Sag * whole
	}
	p.Copper = h.Copper + s.story.Season*math.Sin(2*math.Pi*(day/365.25-0.3)) + s.story.DayCycle*math.Sin(2*math.Pi*(day-0.4))
	if s.story.Change != nil {
		s.story.Change(day, p, s.show)
	}
	levels := make([]map[string]float64, len(s.run.Reels))
	step := ""
	if check {
		step = s.run.Steps[s.check].Name
		for i := range levels {
			levels[i] = s.run.Steps[s.check].Levels
		}
	} else {
		s.animate(levels)
	}
	scale := 1 - s.story.Ageing*whole
	if s.story.Dimmed > 0 && day >= s.story.Dimmed {
		scale *= 2.0 / 3
	}
	for i, by := range s.uneven {
		shown := map[string]float64{}
		for name, level := range levels[i] {
			shown[name] = level * by * scale
		}
		levels[i] = shown
	}
	if err := p.Show(levels); err != nil {
		return nil, err
	}
	var sample []reading.Reading
	add := func(q run.Quantity, from, to, unit string, value, count float64, name string) {
		counts := math.Round(value/count + digitNoise*s.show.NormFloat64())
		digits := max(0, int(math.Ceil(-math.Log10(count)))+1)
		text := strconv.FormatFloat(counts*count, 'f', digits, 64)
		shown, _ := strconv.ParseFloat(text, 64) // the digits are the reading
		meter := s.meter
		if from, ok := s.story.Swap[name]; ok && day >= from && s.story.Renamed != "" {
			meter = s.story.Renamed
		}
		sample = append(sample, reading.Reading{Time: at, Step: step, Quantity: q, From: from, To: to, Text: text, Unit: unit, Value: shown, Meter: meter})
	}
	total := 0.0
	for i, f := range s.run.Feeds {
		if f.From.Kind == run.AtSupply {
			total += math.Abs(p.Amps(i))
		}
	}
	noise := s.story.Noise + s.story.NoisePerAmp*total
	for _, place := range s.places {
		name := s.run.PlaceName(place)
		v := p.Volts(run.Point{Place: place, Rail: run.Plus}, run.Point{Place: place, Rail: run.Minus})
		add(run.Voltage, name+"+", name+"-", "V", s.device(name, day).at(p.Copper, v)+noise*s.rough.NormFloat64(), countVolts, name)
	}
	if s.story.Currents {
		for i, f := range s.run.Feeds {
			add(run.Current, f.Name, "", "A", s.device(f.Name, day).at(p.Copper, p.Amps(i)), countAmps, f.Name)
		}
	}
	if s.story.TemperatureRead {
		add(run.Temperature, s.run.Reels[0].Name, "", "degC", s.thermometer(total), 0.1, "")
	}
	if s.story.Edit != nil {
		sample = s.story.Edit(day, sample)
	}
	return sample, nil
}

// animate draws the levels of a picture: dark, or every reel in a colour of its own.
func (s *station) animate(levels []map[string]float64) {
	dark := s.show.Float64() < 0.25
	bright := s.show.Float64()
	for i, reel := range s.run.Reels {
		levels[i] = map[string]float64{}
		for _, c := range reel.Strip.Channels {
			if !dark {
				levels[i][c.Name] = bright * s.show.Float64() * 0.6
			}
		}
	}
}
