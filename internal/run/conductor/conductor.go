// Package conductor computes the resistance and the published rating of one wire
// from what is printed on it: a size in AWG or mm², a metal, a stranding.
//
// The resistance is that of solid metal of the size's cross-section: AWG by the
// formula of ASTM B258, mm² as named. Fine strands are longer than their cable and have
// less metal in the cross-section; the stranding "fine" allows for that. Nothing here
// allows for cable that is thinner than its print says: the readings show that.
//
// All values are SI at the interfaces except areas, which are in mm², and
// temperatures, in °C.
package conductor

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"ohmkeep/internal/fault"
)

// system is the unit of a wire size.
type system int

const (
	gauge  system = iota // AWG
	metric               // mm²
)

// A Conductor is one wire. Make one with Parse.
type Conductor struct {
	system system
	area   float64 // mm²
	metal  metal
	fine   bool
}

var (
	gaugeSize  = regexp.MustCompile(`(?i)^(?:([1-4])/0|(\d{1,2})) ?AWG$`)
	metricSize = regexp.MustCompile(`(?i)^(\d*\.?\d+) ?mm(?:2|²|\^2)$`)
)

// The range of sizes that can feed a strip; others are input errors.
const (
	thinnestGauge      = 40
	thinnest, thickest = 0.005, 120 // mm²
	sizeHint           = `such as "18 AWG" or "0.75 mm2"`
	solid, fine        = "solid", "fine"
)

// Parse reads a size such as "18 AWG", "2/0 AWG" or "0.75 mm2", a material
// (copper, cca, aluminium; "" is copper) and a stranding (solid, fine; "" is
// solid). Its error is a fault.Fault whose key is conductor, material or stranding.
func Parse(size, material, stranding string) (Conductor, error) {
	c, err := parseSize(strings.Join(strings.Fields(size), " "))
	if err != nil {
		return Conductor{}, err
	}
	if material == "" {
		material = "copper"
	}
	var ok bool
	if c.metal, ok = metals[material]; !ok {
		return Conductor{}, fault.Fault{Key: "material", Text: fmt.Sprintf("%q is not a known material", material),
			Hint: fault.Suggest(material, materialNames)}
	}
	switch stranding {
	case "", solid:
	case fine:
		c.fine = true
	default:
		return Conductor{}, fault.Fault{Key: "stranding", Text: fmt.Sprintf("%q is not a known stranding", stranding),
			Hint: fault.Suggest(stranding, []string{solid, fine})}
	}
	return c, nil
}

func parseSize(size string) (Conductor, error) {
	if m := gaugeSize.FindStringSubmatch(size); m != nil {
		number, _ := strconv.Atoi(m[2])
		if m[1] != "" {
			zeros, _ := strconv.Atoi(m[1])
			number = 1 - zeros
		}
		if number > thinnestGauge {
			return Conductor{}, fault.Fault{Key: "conductor", Text: fmt.Sprintf("%d AWG is thinner than any feed", number),
				Hint: fmt.Sprintf("4/0 to %d AWG", thinnestGauge)}
		}
		return Conductor{system: gauge, area: gaugeArea(number)}, nil
	}
	if m := metricSize.FindStringSubmatch(size); m != nil {
		area, err := strconv.ParseFloat(m[1], 64)
		if err != nil || area < thinnest || area > thickest {
			return Conductor{}, fault.Fault{Key: "conductor", Text: m[1] + " mm² is not a size for a feed",
				Hint: fmt.Sprintf("%g to %g mm2", thinnest, float64(thickest))}
		}
		return Conductor{system: metric, area: area}, nil
	}
	return Conductor{}, fault.Fault{Key: "conductor", Text: fmt.Sprintf("%q is not a wire size", size), Hint: sizeHint}
}

// gaugeArea is the cross-section in mm² of an AWG number; 1/0 is 0, 4/0 is −3.
// ASTM B258: the diameter is 0.127 mm × 92^((36−n)/39).
func gaugeArea(number int) float64 {
	diameter := 0.127 * math.Pow(92, float64(36-number)/39)
	return math.Pi / 4 * diameter * diameter
}

// Area returns the cross-section in mm².
func (c Conductor) Area() float64 { return c.area }

// TempCo returns the temperature coefficient of resistance at 20 °C, in 1/K.
func (c Conductor) TempCo() float64 { return c.metal.tempCo }

// OhmsPerMetre returns the resistance of this one wire, in Ω/m, at a temperature in °C.
func (c Conductor) OhmsPerMetre(celsius float64) float64 {
	ohms := c.metal.resistivity / c.area * (1 + c.metal.tempCo*(celsius-20))
	if c.fine {
		ohms *= c.strandingFactor()
	}
	return ohms
}
