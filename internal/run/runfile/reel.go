package runfile

import (
	"fmt"
	"math"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

func (r *reader) readReels() {
	r.reels = r.root.Tables("reel")
	if len(r.reels) == 0 {
		r.root.Missing("reel", "a run has at least one [[reel]]")
	}
	if r.stripTable == nil && len(r.reels) > 0 && !r.reels[0].Has("volts") {
		r.root.Missing("strip", "what the pixels are, under [strip]")
	}
	taken, total := names{}, 0
	for _, t := range r.reels {
		home := t
		if r.stripTable != nil {
			home = r.stripTable
		}
		reel := run.Reel{Name: r.readLabel(t, taken), Follows: -1}
		reel.Strip = readSettings(t).over(r.strip).finish(home)
		reel.Pixels = readPixels(t, reel.Strip.PixelsPerMetre)
		if total += reel.Pixels; total > mostPixels && total-reel.Pixels <= mostPixels {
			t.Fault("", fmt.Sprintf("brings the run to %d pixels", total), fmt.Sprintf("a run has at most %d", mostPixels))
		}
		t.Text("follows")
		r.run.Reels = append(r.run.Reels, reel)
	}
}

// readPixels reads a reel's length, which is at least one pixel.
func readPixels(t *toml.Table, density float64) int {
	pixels, hasPixels := t.Whole("pixels")
	hasPixels = hasPixels && checkSpan(t, "pixels", float64(pixels), pixelCount)
	length, hasLength := readNumber(t, "metres", reelMetres)
	if !t.Has("pixels") && !t.Has("metres") {
		t.Missing("pixels", "how long the reel is: pixels = 240, or metres = 4.0")
	}
	if !hasLength || density <= 0 {
		return max(pixels, 1)
	}
	fit := int(math.Round(length * density))
	sum := fmt.Sprintf("%g m at %g pixels per metre are %d pixels", length, density, fit)
	if !pixelCount.holds(float64(fit)) {
		t.Fault("metres", sum, pixelCount.String()+" pixels")
	}
	if hasPixels && math.Abs(float64(pixels)-length*density) > 0.5 {
		t.Fault("pixels", fmt.Sprintf("%d pixels and %g metres contradict each other", pixels, length), sum)
	}
	if hasPixels {
		return pixels
	}
	return max(fit, 1)
}

// resolveReels resolves the reel that each one follows: the one before it in the file unless it names
// another, or none.
func (r *reader) resolveReels() {
	for i, t := range r.reels {
		r.run.Reels[i].Follows = i - 1
		name, ok := t.Text("follows")
		if !ok {
			continue
		}
		at := -1
		if name != "" {
			if at = r.run.ReelIndex(name); at < 0 {
				unknownName(t, "follows", "reel", name, r.reelNames())
			}
		}
		r.run.Reels[i].Follows = at
	}
	for i, t := range r.reels {
		// Only a reel that is part of a circle is reported, not one that leads to a circle.
		at := r.run.Reels[i].Follows
		for range r.reels {
			if at == i {
				t.Fault("follows", fmt.Sprintf("reel %q follows itself, by way of others or not", r.run.Reels[i].Name),
					`a circle of reels is parted somewhere: follows = "" at its first reel`)
				break
			}
			if at < 0 {
				break
			}
			at = r.run.Reels[at].Follows
		}
	}
}

func (r *reader) reelNames() []string {
	var all []string
	for _, reel := range r.run.Reels {
		all = append(all, reel.Name)
	}
	return all
}
