package archive

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/drift"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/store"
)

// site is what a board of 16 channels has read at a simulated run, once a minute.
type site struct {
	series   []*store.Series
	readings []simulated
	verdicts []ship.Verdict
}

// simulated is a reading.
type simulated struct {
	series   int
	at       int64
	counts   int64 // of the last digit
	decimals int
}

// channels is the number of channels of a board: the pair voltages of a supply and of six reels' ends,
// the currents of two feeds, a temperature.
const channels = 1 + 2*6 + 2 + 1

// simulate returns a site whose run, animations, weather and sensors follow the laws of the rough
// months (package simulate/months, over a plant of simulate/plant): every disturbance that drift is
// measured with at once (internal/drift, TestRoughMonths), and a healthy run, a joint that becomes
// worse by 2 mΩ a day, or one that jumps by 30 mΩ in the middle.
func simulate(t testing.TB, seed, minutes int) *site {
	t.Helper()
	r := runtest.Parse(t, runtest.Strip("Shelf")+runtest.Reels(1, "a", "b", "c", "d", "e", "f")+
		runtest.Feed("a.start", "16 AWG")+runtest.FeedFrom("far", "A", "f.end", 4, "16 AWG")+runtest.White("check", 0.2)+
		runtest.Meter("board", runtest.Range("voltage", 6, 0.0005, 0.2, 2), runtest.Range("current", 20, 0.001, 0.5, 2), runtest.Range("temperature", 80, 0.1, 0, 5)))
	days := (minutes + 24*60 - 1) / (24 * 60)
	s := &site{}
	story := months.Scenario{Begin: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Days: days, Every: time.Minute, Check: "check", CheckAt: 3 * time.Hour, CheckSamples: 6,
		Currents: true, TemperatureRead: true, DayCycle: 6, Season: 10, Noise: 0.0009, NoisePerAmp: 0.0012, GainTempCo: 25e-6, Cabinet: 12, MissedChecks: 0.2, Uneven: 0.03, Sag: 0.02, Ageing: 0.01}
	story.Change = [...]func(float64, *plant.Plant, *rand.Rand){
		nil,
		func(day float64, p *plant.Plant, _ *rand.Rand) { p.Joints[2].Plus += 0.002 * day },
		func(day float64, p *plant.Plant, _ *rand.Rand) {
			if day > float64(days)/2 {
				p.Joints[3].Minus += 0.030
			}
		},
	}[seed%3]
	number := map[string]int{}
	end := story.Begin.Add(time.Duration(minutes) * time.Minute)
	f := drift.Follow(r, &drift.State{Version: drift.Version})
	if _, err := f.Take(func(yield func(reading.Reading, error) bool) {
		for x, err := range months.Readings(r, story, uint64(seed)) {
			check(t, err)
			if !x.Time.Before(end) {
				return
			}
			s.add(t, r, number, &x)
			if !yield(x, nil) {
				return
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	s.verdicts = ship.OfHistory(f.State.History(r), drift.Fails)
	return s
}

func (s *site) add(t testing.TB, r *run.Run, number map[string]int, x *reading.Reading) {
	key := x.Step + " " + x.From
	i, ok := number[key]
	if !ok {
		i = len(s.series)
		number[key] = i
		s.series = append(s.series, &store.Series{Identity: int64(i), Number: int64(i), Form: "text", Channel: store.Channel{Run: r.Name, Probe: "board",
			Step: x.Step, Quantity: x.Quantity, From: x.From, To: x.To, Unit: x.Unit, Meter: x.Meter}})
	}
	whole, fraction, _ := strings.Cut(x.Text, ".")
	counts, err := strconv.ParseInt(whole+fraction, 10, 64)
	check(t, err)
	s.readings = append(s.readings, simulated{i, x.Time.UnixNano(), counts, len(fraction)})
}

// varied calls do with the readings of another site of this kind, a batch at a time: its moments are
// others, and each of its sensors has another offset.
func (s *site) varied(n, batch int, do func(*store.Delivery) error) error {
	random := rand.New(rand.NewPCG(uint64(n), 4))
	d := &store.Delivery{Series: s.series}
	var offsets []int64
	for range s.series {
		offsets = append(offsets, random.Int64N(41)-20)
	}
	shift := random.Int64N(int64(time.Minute))
	for i, x := range s.readings {
		d.Readings = append(d.Readings, store.Sent{Series: s.series[x.series], At: x.at + shift, Text: decimal(x.counts+offsets[x.series], x.decimals)})
		last := i == len(s.readings)-1
		if last || len(d.Readings) >= batch && s.readings[i+1].at != x.at {
			d.Turn++
			d.Until, d.More = time.Unix(0, x.at+shift+1).UTC(), !last
			if err := do(d); err != nil {
				return err
			}
			d.Readings = d.Readings[:0]
		}
	}
	return nil
}

// decimal returns a number of counts of the last decimal as a text.
func decimal(counts int64, decimals int) string {
	var buffer [24]byte
	b := buffer[:0]
	if counts < 0 {
		b, counts = append(b, '-'), -counts
	}
	unit := int64(1)
	for range decimals {
		unit *= 10
	}
	b = strconv.AppendInt(b, counts/unit, 10)
	if decimals > 0 {
		at := len(b)
		b = strconv.AppendInt(b, unit+counts%unit, 10) // with leading zeros behind a one
		b[at] = '.'
	}
	return string(b)
}

// What is sent of a simulated site is what its board has read, but for the site's own offsets.
func TestSimulatedSite(t *testing.T) {
	for text, want := range map[string]string{decimal(-5, 3): "-0.005", decimal(50012, 4): "5.0012", decimal(7, 0): "7", decimal(-12345, 2): "-123.45"} {
		if text != want {
			t.Errorf("%s, want %s", text, want)
		}
	}
	s := simulate(t, 1, 4*60)
	if n := 4*60*channels + 6*channels - channels; len(s.readings) != n || len(s.series) != 2*channels {
		t.Errorf("%d readings of %d series, want %d of %d", len(s.readings), len(s.series), n, 2*channels)
	}
	sent := 0
	check(t, s.varied(5, 100, func(d *store.Delivery) error {
		for _, x := range d.Readings {
			value, err := strconv.ParseFloat(x.Text, 64)
			check(t, err)
			now := s.readings[sent]
			unit, _ := strconv.ParseFloat("1e-"+fmt.Sprint(now.decimals), 64)
			if off := value/unit - float64(now.counts); off < -20.5 || off > 20.5 || x.Series != s.series[now.series] {
				t.Fatalf("reading %d of %s is %s, and was %d counts", sent, x.Series.From, x.Text, now.counts)
			}
			sent++
		}
		return nil
	}))
	if sent != len(s.readings) {
		t.Errorf("%d of %d readings are sent", sent, len(s.readings))
	}
}
