package judge

import (
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/estimate"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/runfile"
)

// A ring of four reels with 132 mΩ in the plus of its middle joint, where hardly any
// current flows; simulated by somebody else's program. That the sound minus is parted
// explains the readings as well, which is no reason to call it open.
func TestBadPlusIsNoOpenMinus(t *testing.T) {
	r, err := runfile.Parse("ring.toml", []byte(middle))
	if err != nil {
		t.Fatal(err)
	}
	set, err := reading.Parse("ring.csv", strings.NewReader(middleReadings), r)
	if err != nil {
		t.Fatal(err)
	}
	a, err := Make(r, set.Readings)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range a.Elements {
		if math.IsInf(e.Ohms, 1) {
			t.Errorf("%s %s %s is called open", e.Kind, e.Name, e.Rail)
		}
		if e.Kind == assessment.Joint && e.Rail == assessment.Loop && (e.Name == "r2-r3") != (e.Verdict == assessment.Fail) {
			t.Errorf("joint %s: %s", e.Name, e.Verdict)
		}
	}
}

const middle = `# invented
schema = 1
name = "Ring"
ambient_celsius = 20
[strip]
volts = 12
pixels_per_metre = 60
channels = ["red","green","blue"]
driver = "linear"
idle_milliamps = 1.2
loop_milliohms_per_metre = 60
channel_milliamps = 10
[[supply]]
name = "A"
volts = 12.1
amps = 30
milliohms = 5
[[reel]]
name = "r1"
pixels = 240
[[reel]]
name = "r2"
pixels = 240
[[reel]]
name = "r3"
pixels = 240
[[reel]]
name = "r4"
pixels = 240
[[feed]]
name = "near"
from = "A"
to = "r1.start"
metres = 2.7
conductor = "18 AWG"
fuse_amps = 15
[[feed]]
name = "far"
from = "A"
to = "r4.end"
metres = 3.9
conductor = "18 AWG"
fuse_amps = 15
[[step]]
name = "dark"
[[step]]
name = "white 20 %"
red = 0.2
green = 0.2
blue = 0.2
[[meter]]
name = "hand"
  [[meter.range]]
  quantity = "voltage"
  up_to = 20
  resolution = 0.001
  percent = 0.5
  counts = 3
[[meter]]
name = "clamp"
  [[meter.range]]
  quantity = "current"
  up_to = 40
  resolution = 0.01
  percent = 1.5
  counts = 3
[[meter]]
name = "thermo"
  [[meter.range]]
  quantity = "temperature"
  up_to = 100
  resolution = 0.1
  percent = 0
  counts = 10
[limits]
joint_milliohms = 15
feed_drop_percent = 12
feed_excess_percent = 25
connector_milliohms = 10
design_step = "white 20 %"
`

const middleReadings = `time,step,quantity,from,to,value,unit,meter
2026-11-20T10:00:00Z,white 20 %,voltage,r4.start+,r4.start-,11.003,V,hand
2026-11-20T10:00:01Z,dark,voltage,r2.end+,r2.end-,11.926,V,hand
2026-11-20T10:00:02Z,,temperature,r1,,25.8,degC,thermo
2026-11-20T10:00:03Z,white 20 %,current,far,,3.34,A,clamp
2026-11-20T10:00:04Z,white 20 %,voltage,A+,A-,12.127,V,hand
2026-11-20T10:00:05Z,dark,voltage,r2.start+,r2.start-,11.967,V,hand
2026-11-20T10:00:06Z,dark,voltage,r3.start+,r3.start-,11.925,V,hand
2026-11-20T10:00:07Z,dark,voltage,r2.end+,r3.start+,0.001,V,hand
2026-11-20T10:00:08Z,dark,voltage,r3.end+,r3.end-,11.957,V,hand
2026-11-20T10:00:09Z,white 20 %,voltage,r2.end+,r2.end-,10.805,V,hand
2026-11-20T10:00:10Z,white 20 %,current,near,,3.5,A,clamp
2026-11-20T10:00:11Z,white 20 %,voltage,r3.end-,r4.start-,0.006,V,hand
2026-11-20T10:00:12Z,white 20 %,voltage,r3.start+,r3.start-,10.794,V,hand
2026-11-20T10:00:13Z,dark,voltage,r3.end-,r4.start-,0,V,hand
2026-11-20T10:00:14Z,dark,voltage,r1.start+,r1.start-,12.071,V,hand
2026-11-20T10:00:15Z,dark,current,far,,0.55,A,clamp
2026-11-20T10:00:16Z,dark,voltage,r4.start+,r4.start-,11.959,V,hand
2026-11-20T10:00:17Z,white 20 %,voltage,r3.end+,r3.end-,10.995,V,hand
2026-11-20T10:00:18Z,dark,voltage,r1.end-,r2.start-,-0.001,V,hand
2026-11-20T10:00:19Z,dark,voltage,A+,A-,12.139,V,hand
2026-11-20T10:00:20Z,dark,voltage,r1.end+,r2.start+,-0,V,hand
2026-11-20T10:00:21Z,white 20 %,voltage,r2.end-,r3.start-,-0.001,V,hand
2026-11-20T10:00:22Z,white 20 %,voltage,r1.start+,r1.start-,11.704,V,hand
2026-11-20T10:00:23Z,dark,voltage,r4.end+,r4.end-,12.046,V,hand
2026-11-20T10:00:24Z,white 20 %,voltage,r1.end+,r1.end-,11.067,V,hand
2026-11-20T10:00:25Z,white 20 %,voltage,r2.end+,r3.start+,0.01,V,hand
2026-11-20T10:00:26Z,dark,voltage,r2.end-,r3.start-,-0.001,V,hand
2026-11-20T10:00:27Z,white 20 %,voltage,r1.end-,r2.start-,-0.004,V,hand
2026-11-20T10:00:28Z,dark,voltage,r3.end+,r4.start+,-0.001,V,hand
2026-11-20T10:00:29Z,white 20 %,voltage,r2.start+,r2.start-,11.06,V,hand
2026-11-20T10:00:30Z,white 20 %,voltage,r1.end+,r2.start+,0.003,V,hand
2026-11-20T10:00:31Z,white 20 %,voltage,r3.end+,r4.start+,-0.003,V,hand
2026-11-20T10:00:32Z,dark,voltage,r1.end+,r1.end-,11.969,V,hand
2026-11-20T10:00:33Z,dark,current,near,,0.59,A,clamp
2026-11-20T10:00:34Z,white 20 %,voltage,r4.end+,r4.end-,11.552,V,hand
`

// A joint's heat is that of its two conductors, each with its own current: in a ring they
// differ.
func TestHeatOfTwoConductors(t *testing.T) {
	r, err := runfile.Parse("ring.toml", []byte(middle))
	if err != nil {
		t.Fatal(err)
	}
	set, err := reading.Parse("ring.csv", strings.NewReader(middleReadings), r)
	if err != nil {
		t.Fatal(err)
	}
	est, err := estimate.Make(r, set.Readings)
	if err != nil {
		t.Fatal(err)
	}
	unlike := 0
	for i, e := range est.Elements {
		if e.Rail != assessment.Loop || e.Kind != assessment.Joint && e.Kind != assessment.Feed {
			continue
		}
		plus, minus := est.Elements[i+1], est.Elements[i+2]
		if most := plus.Watts + minus.Watts; e.Watts > most*(1+1e-9) || e.Watts < math.Max(plus.Watts, minus.Watts) || e.Watts <= 0 {
			t.Errorf("%s %d: %g W, its conductors %g and %g", e.Kind, e.Index, e.Watts, plus.Watts, minus.Watts)
		}
		for _, one := range []estimate.Element{plus, minus} {
			if want := one.Amps * one.Amps * one.Ohms(one.Belief.Mean); math.Abs(one.Watts-want) > 1e-9 {
				t.Errorf("%s %d %s: %g W, not %g", e.Kind, e.Index, one.Rail, one.Watts, want)
			}
		}
		if e.Watts < 0.95*e.Amps*e.Amps*e.Ohms(e.Belief.Mean) {
			unlike++
		}
	}
	if unlike == 0 {
		t.Error("no joint's conductors carry unlike currents, so the test shows nothing")
	}
}
