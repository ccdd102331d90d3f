package leastsquares

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// The sets in testdata are those of the NIST/ITL Statistical Reference Datasets
// (StRD), nonlinear regression (*.dat, unaltered) and linear regression (*.txt, with
// the certified values in comments): data, starts, certified parameters and their
// standard deviations.

// certified is one set.
type certified struct {
	y                 []float64
	x                 [][]float64 // by observation
	starts            [2][]float64
	parameters        []float64
	deviations        []float64 // scaled by the residual standard deviation
	sumSquares        float64
	residualDeviation float64
}

// readNonlinear reads a *.dat file of the StRD.
func readNonlinear(t *testing.T, name string) certified {
	t.Helper()
	var c certified
	for i, line := range lines(t, name+".dat") {
		words := strings.Fields(line)
		switch {
		case len(words) == 6 && strings.HasPrefix(words[0], "b") && words[1] == "=":
			v := numbers(t, words[2:])
			c.starts[0] = append(c.starts[0], v[0])
			c.starts[1] = append(c.starts[1], v[1])
			c.parameters = append(c.parameters, v[2])
			c.deviations = append(c.deviations, v[3])
		case strings.HasPrefix(line, "Residual Sum of Squares:"):
			c.sumSquares = numbers(t, words[4:])[0]
		case strings.HasPrefix(line, "Residual Standard Deviation:"):
			c.residualDeviation = numbers(t, words[3:])[0]
		case i >= 60 && len(words) == 2: // the data begin at line 61
			v := numbers(t, words)
			c.y = append(c.y, v[0])
			c.x = append(c.x, v[1:])
		}
	}
	return c
}

// readLinear reads a linear set.
func readLinear(t *testing.T, name string) certified {
	t.Helper()
	var c certified
	for _, line := range lines(t, name+".txt") {
		words := strings.Fields(line)
		switch {
		case strings.HasPrefix(line, "# certified: B"):
			v := numbers(t, []string{words[3], words[5]})
			c.parameters = append(c.parameters, v[0])
			c.deviations = append(c.deviations, v[1])
		case strings.HasPrefix(line, "# certified: residual SD"):
			c.residualDeviation = numbers(t, words[4:5])[0]
			for i, w := range words {
				if w == "RSS" {
					c.sumSquares = numbers(t, words[i+1:i+2])[0]
				}
			}
		case !strings.HasPrefix(line, "#") && len(words) > 1:
			v := numbers(t, words)
			c.y = append(c.y, v[0])
			c.x = append(c.x, v[1:])
		}
	}
	return c
}

func lines(t *testing.T, name string) []string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []string
	in := bufio.NewScanner(f)
	for in.Scan() {
		all = append(all, in.Text())
	}
	if in.Err() != nil {
		t.Fatal(in.Err())
	}
	return all
}

func numbers(t *testing.T, words []string) []float64 {
	t.Helper()
	v := make([]float64, len(words))
	for i, w := range words {
		var err error
		if v[i], err = strconv.ParseFloat(w, 64); err != nil {
			t.Fatal(err)
		}
	}
	return v
}

// agreement is the log relative error of NIST's StRD: the number of digits that
// agree, at most as many as are certified.
func agreement(got, want []float64, digits float64) float64 {
	least := digits
	for i := range want {
		if d := math.Abs(got[i]-want[i]) / math.Abs(want[i]); d > 0 || math.IsNaN(d) {
			least = math.Min(least, -math.Log10(d))
		}
	}
	return least
}

// compare checks a fit against the certified values; those of deviations are scaled
// by the residual standard deviation, which our covariance is not.
func (c certified) compare(t *testing.T, name string, f *Fit, want agreed) {
	t.Helper()
	if !f.Converged || f.Singular {
		t.Errorf("%s: converged %v, singular %v after %d iterations", name, f.Converged, f.Singular, f.Iterations)
		return
	}
	spread := math.Sqrt(f.SumSquares / float64(len(c.y)-len(f.X)))
	deviations := make([]float64, len(f.X))
	for j := range deviations {
		deviations[j] = spread * math.Sqrt(f.Covariance.At(j, j))
	}
	const most = 15
	if d := agreement(f.X, c.parameters, most); d < want.parameters {
		t.Errorf("%s: parameters agree to %.1f digits, want %g", name, d, want.parameters)
	}
	if d := agreement(deviations, c.deviations, most); d < want.deviations {
		t.Errorf("%s: deviations agree to %.1f digits, want %g", name, d, want.deviations)
	}
	got, given := []float64{f.SumSquares, spread}, []float64{c.sumSquares, c.residualDeviation}
	if d := agreement(got, given, most); d < 8 {
		t.Errorf("%s: sum of squares and residual deviation agree to %.1f digits, want 8", name, d)
	}
}
