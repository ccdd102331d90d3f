package wording

import (
	"fmt"
	"strings"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Fact is one thing that is said of a run, under a heading.
type Fact struct{ What, Text string }

// Installation returns for whom a run was built, where, by whom and when, as far as it is stated.
func Installation(i run.Installation) (facts []Fact) {
	for _, f := range []Fact{{"for", i.For}, {"place", i.Place}, {"installed by", i.Installer}} {
		if f.Text != "" {
			facts = append(facts, Fact{f.What, printable.Short(f.Text, 200)})
		}
	}
	if !i.Date.IsZero() {
		facts = append(facts, Fact{"installed on", i.Date.Format("2 January 2006")})
	}
	return facts
}

// Installed returns the parts of a run as its file states them.
func Installed(r *run.Run) (facts []Fact) {
	if r == nil {
		return nil
	}
	add := func(kind, name, format string, args ...any) {
		facts = append(facts, Fact{strings.TrimSpace(kind + " " + printable.Short(name, 40)), fmt.Sprintf(format, args...)})
	}
	for _, s := range r.Supplies {
		add("supply", s.Name, "%s V without load, rated %s A", number.Figures(s.Volts, 4), number.Figures(s.Amps, 3))
	}
	for _, f := range r.Feeds {
		text := fmt.Sprintf("from %s to %s", printable.Short(r.PlaceName(f.From), 40), printable.Short(r.PlaceName(f.To), 40))
		if f.Length > 0 {
			text += ", " + number.Figures(f.Length, 3) + " m"
		}
		if f.Conductor != "" {
			text += " of " + printable.Short(f.Conductor, 20) + " " + f.Material
		}
		if f.Stated {
			text += ", stated as " + number.Milliohms(f.Ohms) + " mΩ"
		}
		if f.Fuse > 0 {
			text += ", fuse " + number.Figures(f.Fuse, 3) + " A"
		}
		add("feed", f.Name, "%s", text)
	}
	for i, reel := range r.Reels {
		text := fmt.Sprintf("%s, %s m", number.Count(reel.Pixels, "pixel"), number.Figures(float64(reel.Pixels)/reel.Strip.PixelsPerMetre, 3))
		if i == 0 || !sameStrip(reel.Strip, r.Reels[i-1].Strip) {
			text += "; " + stripOf(reel.Strip)
		}
		add("reel", reel.Name, "%s", text)
	}
	for _, j := range r.Joints {
		text := "both conductors joined"
		if j.PlusCut {
			text = "minus joined, plus parted"
		}
		add("joint", j.Name, "%s", text)
	}
	return facts
}

// stripOf describes the pixels of a strip.
func stripOf(s run.Strip) string {
	var channels []string
	for _, c := range s.Channels {
		channels = append(channels, fmt.Sprintf("%s %s mA", c.Name, number.Figures(1000*c.Amps, 3)))
	}
	text := fmt.Sprintf("%s V, %s pixels a metre, %s driver, a pixel %s", number.Figures(s.Volts, 3), number.Figures(s.PixelsPerMetre, 3), s.Driver, strings.Join(channels, ", "))
	if s.Idle > 0 {
		text += fmt.Sprintf(", %s mA dark", number.Figures(1000*s.Idle, 3))
	}
	if s.LoopOhms > 0 {
		text += fmt.Sprintf("; copper %s mΩ/m", number.Milliohms(s.LoopOhms))
	}
	return text
}

// sameStrip reports whether two strips are described by the same words.
func sameStrip(a, b run.Strip) bool { return stripOf(a) == stripOf(b) }

// StepLevels returns the levels of a step in words.
func StepLevels(r *run.Run, s run.Step) string {
	var levels []string
	for _, name := range []string{"red", "green", "blue", "white"} {
		if level := s.Levels[name]; level > 0 {
			levels = append(levels, name+" "+number.Figures(100*level, 3)+" %")
		}
	}
	text := strings.Join(levels, ", ")
	if text == "" {
		text = "every channel dark"
	}
	if l := r.Limits.DesignStep; l >= 0 && l < len(r.Steps) && r.Steps[l].Name == s.Name {
		text += "; the load that the run has to carry"
	}
	return text
}

// Stretch returns the time from a first to a last moment.
func Stretch(first, last time.Time) string {
	const minute = "2 January 2006, 15:04 -07:00"
	switch {
	case first.IsZero():
		return "at times that were not written down"
	case last.Sub(first) < time.Minute:
		return first.Format(minute)
	}
	return first.Format(minute) + " to " + last.Format(minute)
}
