package colour

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.9g, want %.9g within %g", what, got, want, within)
	}
}

// Spot values of the CIE 1931 2° observer (CIE 15, as restated by the CVRL tables),
// and the sums from 380 nm to 780 nm, computed from the same table in high precision.
func TestObserver(t *testing.T) {
	for nm, want := range map[float64][3]float64{
		450: {0.3362, 0.038, 1.77211}, 500: {0.0049, 0.323, 0.272}, 550: {0.4334499, 0.9949501, 0.008749999},
		555: {0.5120501, 1.0, 0.005749999}, 600: {1.0622, 0.631, 0.0008}, 650: {0.2835, 0.107, 0}, 700: {0.01135916, 0.004102, 0},
	} {
		for k, x := range observer[int((nm-firstNM)/stepNM)] {
			near(t, strconv.Itoa(int(nm)), x, want[k], 1e-9)
		}
	}
	var sum [3]float64
	for i, o := range observer {
		if nm := firstNM + stepNM*float64(i); nm >= 380 && nm <= 780 {
			for k := range sum {
				sum[k] += o[k]
			}
		}
	}
	for k, want := range [3]float64{21.371525, 21.371328, 21.371540} {
		near(t, "sum", sum[k], want, 6e-7)
	}
}

// The spectra of CIE standard illuminants (CIE 15:2004 tables T.1, CIE 015:2018 table
// 12 for the LEDs) give the chromaticities that are published with them.
func TestIlluminants(t *testing.T) {
	for name, want := range map[string]XY{
		"A": {0.44758, 0.40745}, "D50": {0.34570, 0.35850}, "D65": {0.31270, 0.32900},
		"LED-B1": {0.4560, 0.4078}, "LED-B2": {0.4357, 0.4012}, "LED-B3": {0.3756, 0.3723},
		"LED-B4": {0.3422, 0.3502}, "LED-B5": {0.3118, 0.3236}, "LED-BH1": {0.4474, 0.4066},
		"LED-RGB1": {0.4557, 0.4211}, "LED-V1": {0.4548, 0.4044}, "LED-V2": {0.3781, 0.3775},
	} {
		got := Sum(spectrum(t, name)).XY()
		near(t, name+" x", got.X, want.X, 6e-5)
		near(t, name+" y", got.Y, want.Y, 6e-5)
	}
}

func spectrum(t *testing.T, name string) func(float64) float64 {
	t.Helper()
	file, err := os.Open("testdata/" + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	power := map[float64]float64{}
	for _, row := range rows[1:] {
		nm, err1 := strconv.ParseFloat(row[0], 64)
		p, err2 := strconv.ParseFloat(row[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(name, row)
		}
		power[nm] = p
	}
	return func(nm float64) float64 {
		return power[nm] // the LEDs' begin at 380 nm and end at 780 nm
	}
}

// u', v', CCT and Duv of standard illuminants' published chromaticities, computed in
// high precision with the 1 nm observer and c₂ = 1.4388e-2 m·K.
func TestWhitePoints(t *testing.T) {
	for _, c := range []struct {
		name                   string
		at                     XY
		u, v, kelvin, duv, off float64
	}{
		{"A", XY{0.44758, 0.40745}, 0.255971, 0.524296, 2855.53, 0.00000, 0.1},
		{"D50", XY{0.34570, 0.35850}, 0.209179, 0.488080, 5000.73, 0.00319, 0.2},
		{"D55", XY{0.33243, 0.34744}, 0.204433, 0.480744, 5502.40, 0.00325, 0.2},
		{"D65", XY{0.31270, 0.32900}, 0.197830, 0.468320, 6504.34, 0.00321, 0.3},
		{"D75", XY{0.29903, 0.31488}, 0.193531, 0.458526, 7505.07, 0.00314, 0.4},
		{"E", XY{1.0 / 3, 1.0 / 3}, 0.210526, 0.473684, 5455.49, -0.00442, 0.3},
	} {
		near(t, c.name+" u'", c.at.UV().U, c.u, 6e-7)
		near(t, c.name+" v'", c.at.UV().V, c.v, 6e-7)
		kelvin, duv, ok := Temperature(c.at.UV())
		near(t, c.name+" K", kelvin, c.kelvin, c.off)
		near(t, c.name+" Duv", duv, c.duv, 6e-6)
		if !ok {
			t.Error(c.name, "is not ok")
		}
	}
	near(t, "D65 to D50", XY{0.3127, 0.329}.UV().Distance(XY{0.3457, 0.3585}.UV()), 0.0227871, 6e-8)
}

// Published check values in CIE 1960 u, v: those of an implementation of Ohno's
// method (LEUKOS 10 (2014) 47), and points of Robertson's isotemperature lines
// (JOSA 58 (1968) 1528), which are good to a few kelvin.
func TestTemperatures(t *testing.T) {
	for _, c := range []struct {
		name                   string
		u, v, kelvin, duv, off float64
		in                     bool
	}{
		{"Ohno, exact least distance", 0.1978, 0.3122, 6507.50, 0.0032237, 0.4, true},
		{"Ohno, reddest", 0.4328, 0.2883, 1041.678, -0.067378, 1, false},
		{"Ohno, far below", 0.2927, 0.2722, 2444.972, -0.084371, 1, false},
		{"Robertson 2000", 0.30505, 0.35907, 2000, 0, 2, true},
		{"Robertson 4500", 0.217331111, 0.328426667, 4500, 0, 5, true},
		{"Robertson 4500 above", 0.201269100, 0.347584219, 4500, 0.025, 5, true},
		{"Robertson 4500 below", 0.233393122, 0.309269115, 4500, -0.025, 5, true},
		{"Robertson 7000", 0.198191429, 0.306981429, 7000, 0, 15, true},
		{"Robertson 9500", 0.191225263, 0.294975789, 9500, 0, 25, true},
	} {
		kelvin, duv, ok := Temperature(UV{c.u, 1.5 * c.v})
		near(t, c.name+" K", kelvin, c.kelvin, c.off)
		near(t, c.name+" Duv", duv, c.duv, 1e-4)
		if ok != c.in {
			t.Errorf("%s: ok is %v", c.name, ok)
		}
	}
	for kelvin, uv := range map[float64][2]float64{ // the Planckian locus, computed at 1 nm
		2700: {0.262498, 0.351567}, 3000: {0.250571, 0.347590}, 4000: {0.225111, 0.334387},
		5000: {0.211424442, 0.323115810}, 6500: {0.200449, 0.310362},
	} {
		near(t, "planck u", planck(kelvin).U, uv[0], 5e-6)
		near(t, "planck v", planck(kelvin).V/1.5, uv[1], 5e-6)
	}
	for _, c := range []UV{{math.NaN(), 0}, {0.6, 0.5}, XYZ{}.UV()} {
		if kelvin, _, ok := Temperature(c); ok {
			t.Errorf("%v has %g K", c, kelvin)
		}
	}
}

// Centres of ANSI C78.377-2015 with their target temperatures; the target Duv are
// from memory and agree with high-precision values.
func TestNominalWhites(t *testing.T) {
	for _, c := range []struct{ x, y, kelvin, duv float64 }{
		{0.5018, 0.4153, 2238, 0}, {0.4806, 0.4141, 2460, 0}, {0.4578, 0.4101, 2725, 0}, {0.4339, 0.4033, 3045, 0.0001},
		{0.4078, 0.3930, 3465, 0.0005}, {0.3818, 0.3797, 3985, 0.0010}, {0.3613, 0.3670, 4503, 0.0015},
		{0.3446, 0.3551, 5029, 0.0020}, {0.3287, 0.3425, 5667, 0.0025}, {0.3123, 0.3283, 6532, 0.0031},
	} {
		kelvin, duv, ok := Temperature(XY{c.x, c.y}.UV())
		near(t, "K", kelvin, c.kelvin, 2)
		near(t, "Duv", duv, c.duv, 1e-4)
		if !ok {
			t.Error(c, "is not ok")
		}
		back := White(c.kelvin, c.duv)
		near(t, "x", back.X, c.x, 2e-4) // the rounding of the target Duv is worth 1e-4
		near(t, "y", back.Y, c.y, 2e-4)
	}
}

// A white made from a temperature and a Duv has that temperature and Duv.
func TestWhiteRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 1))
	for range 300 {
		kelvin, duv := math.Exp(math.Log(1100)+rng.Float64()*math.Log(20)), 0.06*(rng.Float64()-0.5)
		k, d, ok := Temperature(White(kelvin, duv).UV())
		if !ok || math.Abs(k/kelvin-1) > 2e-6 || math.Abs(d-duv) > 2e-6 {
			t.Fatalf("%g K %g comes back as %g K %g", kelvin, duv, k, d)
		}
	}
}

// Chromaticities: XY and UV are inverse to each other; a mixture is between its parts; a narrow
// LED has the chromaticity of its wavelength; a wider one is less saturated.
func TestChromaticity(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 2))
	for range 300 {
		c := XYZ{rng.Float64(), 0.01 + rng.Float64(), rng.Float64()}
		xy := c.XY()
		near(t, "x", xy.UV().XY().X, xy.X, 1e-12)
		near(t, "y", c.UV().XY().Y, xy.Y, 1e-12)
		near(t, "Z", xy.Light(c.Y).Z, c.Z, 1e-12)
		near(t, "X", xy.Light(c.Y).X, c.X, 1e-12)
	}
	// 600 nm: x = 1.0622/1.694, from the table.
	near(t, "600 nm", Peak(600, 10).X, 1.0622/(1.0622+0.631+0.0008), 2e-3)
	equal := XY{1.0 / 3, 1.0 / 3}
	if a, b := Peak(525, 20).UV().Distance(equal.UV()), Peak(525, 45).UV().Distance(equal.UV()); a <= b {
		t.Errorf("a narrow green is %g from white, a wide one %g", a, b)
	}
	// The full width at half maximum: half the power at half a width from the peak.
	a, b := Sum(func(nm float64) float64 { return math.Exp(-4 * math.Ln2 * (nm - 550) * (nm - 550) / 900) }).XY(), Peak(550, 30)
	near(t, "shape", a.X, b.X, 1e-12)
	if (XY{0.7, 0.4}).Real() || (XY{0.3, 0}).Real() || !(XY{0.7, 0.3}).Real() {
		t.Error("which chromaticities are real")
	}
}

// IEC 61966-2-1: the white is D65, the primaries those of BT.709; 0.2140 of linear
// light is the middle grey 127.5 (from its transfer function).
func TestSRGB(t *testing.T) {
	for _, c := range []struct {
		name string
		in   XYZ
		want [3]uint8
	}{
		{"white", XY{0.3127, 0.3290}.Light(1), [3]uint8{255, 255, 255}},
		{"red", XY{0.64, 0.33}.Light(0.2126), [3]uint8{255, 0, 0}},
		{"green", XY{0.30, 0.60}.Light(0.7152), [3]uint8{0, 255, 0}},
		{"blue", XY{0.15, 0.06}.Light(0.0722), [3]uint8{0, 0, 255}},
		{"grey", XY{0.3127, 0.3290}.Light(0.2140), [3]uint8{127, 127, 127}},
		{"black", XYZ{}, [3]uint8{}},
		{"brighter than the screen", XY{0.3127, 0.3290}.Light(7), [3]uint8{255, 255, 255}},
	} {
		got := SRGB(c.in)
		for k := range got {
			if d := int(got[k]) - int(c.want[k]); d < -3 || d > 3 {
				t.Errorf("%s is %v, want %v", c.name, got, c.want)
				break
			}
		}
	}
	// Outside the screen's triangle a spectral green stays green and keeps its luminance.
	got := SRGB(Peak(520, 30).Light(0.3))
	linear := func(b uint8) float64 { return math.Pow((float64(b)/255+0.055)/1.055, 2.4) }
	near(t, "its luminance", 0.2126*linear(got[0])+0.7152*linear(got[1])+0.0722*linear(got[2]), 0.3, 0.005)
	near(t, "exposure of darkness", Exposure(XYZ{}), 1, 0)
	near(t, "exposure of half of white", Exposure(XY{0.3127, 0.3290}.Light(0.5)), 2, 1e-3)
	if got[1] <= got[0] || got[1] <= got[2] {
		t.Errorf("a saturated green is shown as %v", got)
	}
}

func BenchmarkTemperature(b *testing.B) {
	c := XY{0.3127, 0.3290}.UV()
	for b.Loop() {
		Temperature(c)
	}
}
