// Package months is a run that a board reads for months, for proving what is said of
// drift: sensors with gains and offsets of their own and coarse counts, days and
// seasons, animations nobody announces, a check step every night, and whatever a
// Story makes happen. Everything is drawn from a seed.
package months

import (
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate"
)

// Story is what happens. The zero Story of a run is healthy and uneventful.
type Story struct {
	Begin time.Time
	Days  int
	Every time.Duration // between samples; 0 = half an hour
	Check string        // the step of the nightly check; "" = none
	// CheckAt is the time of day of the check, before any sample of that moment.
	CheckAt time.Duration
	// CheckSamples is how often each sensor is read in a check, every ten seconds; 0 = once.
	CheckSamples int

	Sensed   []string // places with a sensor; nil = all ends and supplies
	Currents bool     // the feeds' currents are read
	Warmth   bool     // a temperature is read
	DayCycle float64  // K, half of what day and night differ
	Season   float64  // K, half of what summer and winter differ
	// What no model of the nights holds. The zero values are a calm board.
	Noise        float64 // V, standard deviation of a pair voltage beside its sensor's counts
	NoisePerAmp  float64 // V/A, what comes to it for each ampere of the run
	GainTempCo   float64 // 1/K, standard deviation of the sensors' gains' temperature coefficients
	Cabinet      float64 // K by which the thermometer's place is warmer than the copper at 5 A
	MissedChecks float64 // part of the nights on which no check is shown
	Dimmed       float64 // day from which the owner's limiter takes a third of the light; 0 = never
	Uneven       float64 // standard deviation of a reel's currents, as a part, beside what the run file states

	Sag    float64 // V that the supply loses over all the days
	Ageing float64 // part of the pixels' current that is lost over all the days

	// Change is called before every sample and may change the plant, which is as healthy
	// as on the first day each time. day counts from 0.
	Change func(day float64, p *simulate.Plant, rng *rand.Rand)
	// Edit may change what the board sends: the readings of one sample.
	Edit func(day float64, sample []reading.Reading) []reading.Reading
	// Swap names sensors ("west.start") that are another device from a day on.
	Swap map[string]float64
	// Renamed gives the new device's meter; "" = nobody says that it is another.
	Renamed string
}

// Gain and Offset are the ends of even distributions of a sensor's errors; an INA226
// has 0.1 % and 7.5 mV at most (from memory of the datasheet), cheap dividers more.
const (
	Gain       = 0.003
	Offset     = 0.003 // V
	CountVolts = 1.25e-3
	CountAmps  = 1.25e-3
	GainAmps   = 0.01
	OffsetAmps = 0.003 // A
	Wander     = 0.4   // counts, standard deviation of one value
)

// sensor is one device. Its gain is that at 20 °C, and changes by tempCo a kelvin.
type sensor struct{ gain, offset, tempCo float64 }

// Days gives the readings of each day, in the order of time.
func Days(r *run.Run, story Story, seed uint64) iter.Seq2[[]reading.Reading, error] {
	return func(yield func([]reading.Reading, error) bool) {
		s, err := newStation(r, story, seed)
		for day := 0; err == nil && day < story.Days; day++ {
			var list []reading.Reading
			if list, err = s.day(day); err == nil && !yield(list, nil) {
				return
			}
		}
		if err != nil {
			yield(nil, err)
		}
	}
}

// Readings gives all readings one by one.
func Readings(r *run.Run, story Story, seed uint64) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		for list, err := range Days(r, story, seed) {
			if err != nil {
				yield(reading.Reading{}, err)
				return
			}
			for _, x := range list {
				if !yield(x, nil) {
					return
				}
			}
		}
	}
}

// station is a run with its board.
type station struct {
	run     *run.Run
	story   Story
	plant   *simulate.Plant
	healthy simulate.Plant
	rng     *rand.Rand // of the plant and its sensors
	show    *rand.Rand // of animations and noise
	// Draws of their own, so that a seed's plant and pictures do not depend on the rest.
	tempered, rough *rand.Rand
	places          []run.Place
	sensors         map[string][2]sensor // by place or feed: the first device and the one after a swap
	uneven          []float64            // by reel: on its currents
	check           int
	meter           string
}

func newStation(r *run.Run, story Story, seed uint64) (*station, error) {
	s := &station{run: r, story: story, rng: rand.New(rand.NewPCG(seed, 1)), show: rand.New(rand.NewPCG(seed, 2)),
		tempered: rand.New(rand.NewPCG(seed, 3)), rough: rand.New(rand.NewPCG(seed, 4)),
		sensors: map[string][2]sensor{}, check: r.StepIndex(story.Check), meter: r.Meters[0].Name}
	if story.Check != "" && s.check < 0 {
		return nil, fmt.Errorf("no step is named %q", story.Check)
	}
	if s.story.Every == 0 {
		s.story.Every = 30 * time.Minute
	}
	s.plant = simulate.New(r, simulate.Usual, s.rng)
	for i := range r.Feeds { // connectors
		s.plant.Feeds[i].Plus += 0.002
		s.plant.Feeds[i].Minus += 0.002
	}
	for _, name := range s.names() {
		p, err := r.Place(name)
		if err != nil {
			return nil, err
		}
		s.places = append(s.places, p)
		s.sensors[name] = [2]sensor{s.draw(Gain, Offset), s.draw(Gain, Offset)}
	}
	for _, f := range r.Feeds {
		s.sensors[f.Name] = [2]sensor{s.draw(GainAmps, OffsetAmps), s.draw(GainAmps, OffsetAmps)}
	}
	for range r.Reels {
		s.uneven = append(s.uneven, 1+story.Uneven*s.tempered.NormFloat64())
	}
	if err := s.plant.Open(s.places...); err != nil {
		return nil, err
	}
	s.healthy = *s.plant
	s.healthy.Joints = append([]ladder.Rails{}, s.plant.Joints...)
	s.healthy.Feeds = append([]ladder.Rails{}, s.plant.Feeds...)
	s.healthy.Reels = append([]ladder.Rails{}, s.plant.Reels...)
	s.healthy.Supplies = append([]ladder.Source{}, s.plant.Supplies...)
	return s, nil
}

func (s *station) draw(gain, offset float64) sensor {
	return sensor{gain * (2*s.rng.Float64() - 1), offset * (2*s.rng.Float64() - 1), s.story.GainTempCo * s.tempered.NormFloat64()}
}

// names gives the places that are sensed.
func (s *station) names() []string {
	if s.story.Sensed != nil {
		return s.story.Sensed
	}
	var names []string
	for _, x := range s.run.Supplies {
		names = append(names, x.Name)
	}
	for _, x := range s.run.Reels {
		names = append(names, x.Name+".start", x.Name+".end")
	}
	return names
}

// day gives one day's readings.
func (s *station) day(day int) ([]reading.Reading, error) {
	var list []reading.Reading
	begin := s.story.Begin.AddDate(0, 0, day)
	checked := s.check < 0 || s.rough.Float64() < s.story.MissedChecks
	for at := time.Duration(0); at < 24*time.Hour; at += s.story.Every {
		if !checked && at >= s.story.CheckAt {
			checked = true
			for n := range max(1, s.story.CheckSamples) {
				sample, err := s.sample(begin.Add(s.story.CheckAt+time.Duration(n)*10*time.Second), true)
				if err != nil {
					return nil, err
				}
				list = append(list, sample...)
			}
			if at == s.story.CheckAt {
				continue
			}
		}
		sample, err := s.sample(begin.Add(at), false)
		if err != nil {
			return nil, err
		}
		list = append(list, sample...)
	}
	return list, nil
}

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
	p.Warmth = h.Warmth + s.story.Season*math.Sin(2*math.Pi*(day/365.25-0.3)) + s.story.DayCycle*math.Sin(2*math.Pi*(day-0.4))
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
	for i, by := range s.uneven {
		shown := map[string]float64{}
		for name, level := range levels[i] {
			shown[name] = level * by
		}
		levels[i] = shown
	}
	scale := h.Scales[0] * (1 - s.story.Ageing*whole)
	if s.story.Dimmed > 0 && day >= s.story.Dimmed {
		scale *= 2.0 / 3
	}
	if err := p.Show(levels, scale); err != nil {
		return nil, err
	}
	var sample []reading.Reading
	add := func(q run.Quantity, from, to, unit string, value, count float64, name string) {
		counts := math.Round(value/count + Wander*s.show.NormFloat64())
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
		add(run.Voltage, name+"+", name+"-", "V", s.device(name, day).at(p.Warmth, v)+noise*s.rough.NormFloat64(), CountVolts, name)
	}
	if s.story.Currents {
		for i, f := range s.run.Feeds {
			add(run.Current, f.Name, "", "A", s.device(f.Name, day).at(p.Warmth, p.Amps(i)), CountAmps, f.Name)
		}
	}
	if s.story.Warmth {
		add(run.Temperature, s.run.Reels[0].Name, "", "degC", s.thermometer(total), 0.1, "")
	}
	if s.story.Edit != nil {
		sample = s.story.Edit(day, sample)
	}
	return sample, nil
}

// at is what a device makes of a value when it is as warm as the copper.
func (d sensor) at(celsius, value float64) float64 {
	return value*(1+d.gain+d.tempCo*(celsius-20)) + d.offset
}

// thermometer is what a thermometer shows: in a cabinet beside the supply it is warmer
// than the copper by a part of its own and one that grows with the current, and follows
// the weather by two thirds.
func (s *station) thermometer(amps float64) float64 {
	if s.story.Cabinet == 0 {
		return s.plant.Warmth
	}
	return s.healthy.Warmth + 0.67*(s.plant.Warmth-s.healthy.Warmth) + s.story.Cabinet*(0.5+0.5*math.Min(amps/5, 2))
}

// device gives the sensor at a place on a day.
func (s *station) device(name string, day float64) sensor {
	if from, ok := s.story.Swap[name]; ok && day >= from {
		return s.sensors[name][1]
	}
	return s.sensors[name][0]
}

// animate draws a picture: dark, or every reel in a colour of its own.
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
