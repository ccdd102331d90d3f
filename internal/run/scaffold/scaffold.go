// Package scaffold writes a first run file from a few answers. The file is valid; its comments
// explain its keys. The user adds the rest by hand, such as a second supply.
//
// The current of its load steps is at most four fifths of the rating of supply and fuses.
package scaffold

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/template"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run/runfile"
)

// Options are the answers that a run file is made from.
type Options struct {
	Name             string
	For              string    // the owner; "" = not stated, as are the next two
	Place            string    // where the run is
	Installer        string    // who builds it
	Volts            float64   // V, rated, of the strip
	PixelsPerMetre   float64   //
	ReelMetres       []float64 // m, in the order of the data
	Driver           string    // linear, resistor or regulated
	LEDs             int       // in series on each channel; 0 = not known
	White            bool      // a fourth channel
	ChannelMilliamps float64   // mA, one channel of one pixel, fully on
	IdleMilliamps    float64   // mA, one pixel, dark
	LoopMilliohms    float64   // mΩ/m, both rails; 0 = not known
	SupplyVolts      float64   // V, as trimmed, without load
	SupplyAmps       float64   // A, rated
	Fed              Fed       //
	FeedMetres       float64   // m, one way, supply to the place fed; to the start where both ends are
	FarMetres        float64   // m, one way, supply to the far end; used for Both only
	Conductor        string    // such as "18 AWG" or "0.75 mm2"
	Material         string    // "" = copper
	Fine             bool      // finely stranded
	Probes           []Probe   // that were found; the file gets them at its end
}

// Drivers are the words for Driver.
var Drivers = []string{"linear", "resistor", "regulated"}

// Fed is where the feeds meet the strip.
type Fed int

const (
	Start  Fed = iota // at the start of the first reel
	Both              // there and at the end of the last
	Middle            // at the middle pixel of the whole
)

// FedNames are the words for Fed, in the order of the constants.
var FedNames = []string{"start", "both", "middle"}

func (f Fed) String() string { return FedNames[f] }

// Usual returns a short 5 V run to begin with (common practice, no source).
func Usual() Options {
	return Options{
		Name: "New run", Volts: 5, PixelsPerMetre: 60, ReelMetres: []float64{5},
		Driver: "linear", ChannelMilliamps: 12, IdleMilliamps: 0.8,
		SupplyVolts: 5, SupplyAmps: 10,
		FeedMetres: 2, FarMetres: 7, Conductor: "18 AWG", Fine: true,
	}
}

//go:embed run.toml.tmpl
var text string

var page = template.Must(template.New("run file").Funcs(template.FuncMap{"quote": quote, "number": number}).Parse(text))

// Write writes the run file, or nothing and an error (a fault.List for options
// that make no run; its keys are the run file's).
func Write(w io.Writer, o Options) error {
	if err := o.finite(); err != nil {
		return err
	}
	plan := o.plan()
	var file bytes.Buffer
	if err := page.Execute(&file, plan); err != nil {
		return fmt.Errorf("draft: %w", err)
	}
	for _, p := range o.Probes {
		file.WriteString("\n" + p.String())
	}
	if _, err := runfile.Parse("", file.Bytes()); err != nil {
		return unplaced(err)
	}
	if plan.tooMuch != nil {
		return plan.tooMuch
	}
	_, err := w.Write(file.Bytes())
	return err
}

// unplaced removes the line numbers from the faults of a file that is not written yet.
func unplaced(err error) error {
	var list fault.List
	if !errors.As(err, &list) {
		return err
	}
	var bare fault.List
	for _, f := range list {
		f.Line = 0
		bare.Add(f)
	}
	return bare.Err()
}

// finite returns faults for numbers that are not finite.
func (o Options) finite() error {
	var list fault.List
	check := func(key string, x float64) {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			list.Add(fault.Fault{Key: key, Text: "is not a finite number"})
		}
	}
	check("volts", o.Volts)
	check("pixels_per_metre", o.PixelsPerMetre)
	check("channel_milliamps", o.ChannelMilliamps)
	check("idle_milliamps", o.IdleMilliamps)
	check("loop_milliohms_per_metre", o.LoopMilliohms)
	check("supply volts", o.SupplyVolts)
	check("supply amps", o.SupplyAmps)
	check("feed metres", o.FeedMetres)
	check("far feed metres", o.FarMetres)
	for _, m := range o.ReelMetres {
		check("reel metres", m)
	}
	if o.Fed < Start || o.Fed > Middle {
		list.Add(fault.Fault{Key: "fed", Text: "is not a way to feed a run", Hint: fault.Suggest("", FedNames)})
	}
	return list.Err()
}

// quote writes a TOML basic string.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range s {
		switch {
		case c == '"' || c == '\\':
			b.WriteByte('\\')
			b.WriteRune(c)
		case c < ' ' || c == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, c)
		default:
			b.WriteRune(c)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// number writes a finite number as TOML does.
func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
