// Package months simulates a run of package plant that a board reads for months. Its
// sensors have gains and offsets of their own and coarse counts. Days and seasons warm the
// copper, animations are shown unannounced, a check step is shown every night, and a Story
// adds faults and disturbances: noise that grows with the load, gains that follow the
// weather, a thermometer that is warmer than the copper, nights without a check, a dimmed
// run. Everything is drawn from a seed. It shares nothing with package drift.
package months

import (
	"fmt"
	"iter"
	"math/rand/v2"
	"slices"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
)

// Scenario describes the months of a run. In the zero Scenario no fault and no disturbance occurs.
type Scenario struct {
	Begin time.Time
	Days  int
	Every time.Duration // between samples; 0 = half an hour
	Check string        // the step of the nightly check; "" = none
	// CheckAt is the time of day of the check, before any sample of that moment.
	CheckAt time.Duration
	// CheckSamples is how often each sensor is read in a check, every ten seconds; 0 = once.
	CheckSamples int

	Sensed          []string // places with a sensor; nil = all ends and supplies
	Currents        bool     // the feeds' currents are read
	TemperatureRead bool     // a temperature is read
	DayCycle        float64  // K, half of the difference between day and night
	Season          float64  // K, half of the difference between summer and winter
	// Disturbances; 0 = none.
	Noise        float64 // V, standard deviation of a pair voltage beside its sensor's counts
	NoisePerAmp  float64 // V/A, added to Noise for each ampere of the run
	GainTempCo   float64 // 1/K, standard deviation of the sensors' gains' temperature coefficients
	Cabinet      float64 // K by which the thermometer's place is warmer than the copper at 5 A
	MissedChecks float64 // part of the nights on which no check is shown
	Dimmed       float64 // day from which a limiter reduces the light by a third; 0 = never
	Uneven       float64 // standard deviation of a reel's currents, as a part, beside what the run file states

	Sag    float64 // V that the supply loses over all the days
	Ageing float64 // part of the pixels' current that is lost over all the days

	// Change is called before every sample and may change the plant, which is restored to
	// its healthy state before each call. day counts from 0.
	Change func(day float64, p *plant.Plant, rng *rand.Rand)
	// Edit returns what the board sends instead of the readings of one sample.
	Edit func(day float64, sample []reading.Reading) []reading.Reading
	// Swap gives the day from which a sensor ("west.start") is another device.
	Swap map[string]float64
	// Renamed gives the new device's meter; "" = it has the same.
	Renamed string
}

// Days returns the readings of each day, in the order of time.
func Days(r *run.Run, story Scenario, seed uint64) iter.Seq2[[]reading.Reading, error] {
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

// Readings returns all readings one by one.
func Readings(r *run.Run, story Scenario, seed uint64) iter.Seq2[reading.Reading, error] {
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
	story   Scenario
	plant   *plant.Plant
	healthy plant.Plant // as on the first day
	rng     *rand.Rand  // of the plant and its sensors
	show    *rand.Rand  // of animations and noise
	// Separate generators, so that a seed's plant and pictures do not depend on the disturbances.
	tempered, rough *rand.Rand
	places          []run.Place
	sensors         map[string][2]sensor // by place or feed: the first device and the one after a swap
	uneven          []float64            // by reel: on its currents
	check           int
	meter           string
}

func newStation(r *run.Run, story Scenario, seed uint64) (*station, error) {
	s := &station{run: r, story: story, rng: rand.New(rand.NewPCG(seed, 1)), show: rand.New(rand.NewPCG(seed, 2)),
		tempered: rand.New(rand.NewPCG(seed, 3)), rough: rand.New(rand.NewPCG(seed, 4)),
		sensors: map[string][2]sensor{}, check: r.StepIndex(story.Check), meter: r.Meters[0].Name}
	if story.Check != "" && s.check < 0 {
		return nil, fmt.Errorf("no step is named %q", story.Check)
	}
	if s.story.Every == 0 {
		s.story.Every = 30 * time.Minute
	}
	s.plant = plant.New(r, plant.Plain, s.rng)
	for _, name := range s.names() {
		p, err := r.Place(name)
		if err != nil {
			return nil, err
		}
		s.places = append(s.places, p)
		s.sensors[name] = [2]sensor{s.draw(maxGainVolts, maxOffset), s.draw(maxGainVolts, maxOffset)}
	}
	for _, f := range r.Feeds {
		s.sensors[f.Name] = [2]sensor{s.draw(maxGainAmps, maxOffsetAmps), s.draw(maxGainAmps, maxOffsetAmps)}
	}
	for range r.Reels {
		s.uneven = append(s.uneven, 1+story.Uneven*s.tempered.NormFloat64())
	}
	s.healthy = *s.plant
	s.healthy.Joints = slices.Clone(s.plant.Joints)
	s.healthy.Feeds = slices.Clone(s.plant.Feeds)
	s.healthy.Reels = slices.Clone(s.plant.Reels)
	s.healthy.Supplies = slices.Clone(s.plant.Supplies)
	return s, nil
}

// names returns the places that are sensed.
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

// day returns one day's readings.
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
