package walk

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/plant"
)

var hallReels = flag.Int("hallreels", 6, "how many reels the run has that a walk must keep up with")

// budget is the longest time between a reading and the next question.
const budget = 300 * time.Millisecond

// hall is an invented run of so many reels of 5 m, fed at every other one.
func hall(t testing.TB, reels int) *run.Run {
	var b strings.Builder
	b.WriteString(runtest.Strip("Hall"))
	for i := range reels {
		fmt.Fprintf(&b, "[[reel]]\nname = \"r%d\"\nmetres = 5.0\n", i)
	}
	for i := 0; i < reels; i += 2 {
		fmt.Fprintf(&b, "[[feed]]\nname = \"f%d\"\nfrom = \"A\"\nto = \"r%[1]d.start\"\nmetres = 4\nconductor = \"14 AWG\"\n", i)
	}
	b.WriteString("[[step]]\nname = \"dark\"\n[[step]]\nname = \"white 3 %\"\nred = 0.03\ngreen = 0.03\nblue = 0.03\n")
	return runtest.Parse(t, b.String())
}

// From a reading to the next question a walk takes far less than its budget, in a run of any size, because
// what takes long is Learn. The plan is every place, so that there is as much to choose from as can be.
func TestKeepsUp(t *testing.T) {
	r := hall(t, *hallReels)
	p := &plan.Plan{Run: r, Meters: []string{r.Meters[0].Name}}
	for _, s := range r.Steps {
		round := plan.Round{Step: s.Name}
		for i, reel := range r.Reels {
			for _, pixel := range []int{1, reel.Pixels} {
				name := r.PlaceName(run.Place{Kind: run.AtReel, Index: i, Pixel: pixel})
				round.Reads = append(round.Reads, assessment.Next{From: name + "+", To: name + "-", Step: s.Name, Meter: r.Meters[0].Name})
			}
		}
		p.Rounds = append(p.Rounds, round)
	}
	person := newWalker(t, r, 1)
	w := person.learn(New(p, Options{All: true}))
	var times []time.Duration
	var learning time.Duration
	for n := 0; w.Task().Kind != Finished && w.Task().Kind != Learning; n++ {
		task := w.Task()
		if task.Kind == SetStep {
			if err := person.plant.Set(r.StepIndex(task.Step)); err != nil {
				t.Fatal(err)
			}
			w = person.apply(w, Event{Kind: Shown, Step: task.Step})
			continue
		}
		x := person.read(task.Read)
		if n%7 == 3 && task.Again == nil {
			x.Text = "-" + x.Text
			plant.SetValue(&x)
		}
		begin := time.Now()
		w = person.apply(w, w.Event(x))
		w.Task()
		times = append(times, time.Since(begin))
		if n == *hallReels {
			begin = time.Now()
			w = person.learn(w)
			learning = time.Since(begin)
		}
	}
	slices.Sort(times)
	t.Logf("%d reels, %d readings: from a reading to the next question %v, at most %v; to learn from %d readings %v",
		*hallReels, len(times), times[len(times)/2], times[len(times)-1], *hallReels+1, learning)
	if middle := times[len(times)/2]; middle > budget || len(times) < 4**hallReels {
		t.Errorf("%d readings, %v each", len(times), middle)
	}
}
