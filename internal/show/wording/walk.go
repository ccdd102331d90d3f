package wording

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Spoken returns a place to read as a sentence for a speaking device.
func Spoken(n assessment.Next) string {
	point := func(name string) string {
		name = strings.ReplaceAll(printable.Short(name, 40), ".", ", ")
		return strings.NewReplacer("+", ", plus", "-", " ").Replace(strings.TrimSuffix(name, "-")) + map[bool]string{true: ", minus"}[strings.HasSuffix(name, "-")]
	}
	switch n.Quantity {
	case run.Current:
		return "Current of feed " + n.From
	case run.Temperature:
		return "Temperature of " + n.From
	}
	return "Red lead on " + point(n.From) + ". Black lead on " + point(n.To) + "."
}

// Levels returns the levels of a step in words, such as "red 50 %, blue 5 %".
func Levels(s run.Step) string {
	var list []string
	for _, name := range slices.Sorted(maps.Keys(s.Levels)) {
		if level := s.Levels[name]; level > 0 {
			list = append(list, printable.Short(name, 20)+" "+number.Figures(100*level, 3)+" %")
		}
	}
	if list == nil {
		return "all dark"
	}
	return strings.Join(list, ", ")
}

// Contradiction returns in words how a reading contradicts what was known: what was expected, and what would
// explain it.
func Contradiction(n assessment.Next, d walk.Doubt) string {
	value := func(v float64) string { return Value(n.Quantity, v) }
	expected := "something else was expected"
	if !math.IsInf(d.High-d.Low, 0) {
		if max(math.Abs(d.Value), math.Abs(d.Low), math.Abs(d.High)) < 0.1 {
			value = func(v float64) string {
				return InUnit(map[run.Quantity]string{run.Voltage: "mV", run.Current: "mA"}[n.Quantity], n.Quantity, v)
			}
		}
		low := value(d.Low)
		if d.Low == 0 { // a bound
			low = "0"
		}
		expected = fmt.Sprintf("%s to %s was expected", low, value(d.High))
	}
	text := fmt.Sprintf("%s contradicts what was read before: %s.", value(d.Value), expected)
	if d.Why != "" {
		return text + " " + Capital(d.Why) + ". Read it again."
	}
	return text + " Are the leads at this place, and does the run show this step? Read it again: the same value twice is believed."
}

// Progress returns in words how far a walk is.
func Progress(t walk.Task) string {
	text := fmt.Sprintf("%d taken, %d left", t.Taken, t.Left)
	if t.Kind == walk.Finished {
		text = fmt.Sprintf("%d taken", t.Taken)
	}
	if behind := t.Taken - t.Learned; behind > 0 {
		text += fmt.Sprintf("; the estimates lack the last %s", number.Count(behind, "reading"))
	}
	return text
}

// Finished returns in words how a walk has ended, and the elements that stay unproven.
func Finished(t walk.Task, k *walk.Knowledge) (headline string, rest []string) {
	for _, u := range t.Unproven {
		rest = append(rest, Capital(u.Name)+": "+u.Why+".")
	}
	switch {
	case k == nil:
		return "The walk has ended.", nil
	case k.Doubtful && k.Doubt != "":
		return "Done, but the readings contradict each other: " + strings.TrimSuffix(k.Doubt, ".") + ".", rest
	case !t.Settled && t.LeftOut > 0:
		return "Ended: " + number.Count(t.LeftOut, "reading") + " that may tell more " + map[bool]string{true: "was", false: "were"}[t.LeftOut == 1] + " left out.", rest
	case !t.Settled:
		return "Done: nothing that the meters can read would tell more.", rest
	}
	return "Done: everything is settled.", rest
}

// Decided returns in words the verdict on an element that a walk has settled; "" for one that is not.
func Decided(e assessment.Element) string {
	word := map[assessment.Verdict]string{assessment.Pass: "passes", assessment.Fail: "fails"}[e.Verdict]
	if word == "" || e.Rail != run.Loop {
		return ""
	}
	return fmt.Sprintf("%s %s %s", e.Kind, printable.Short(e.Name, 40), word)
}
