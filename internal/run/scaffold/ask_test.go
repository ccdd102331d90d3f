package scaffold

import (
	"errors"
	"fmt"
	"io"
	"os"
	"reflect"
	"strings"
	"testing"
)

func TestAskDefaults(t *testing.T) {
	var out strings.Builder
	o, err := NewQuestions(strings.NewReader(strings.Repeat("\n", 20)), &out).Options(Usual())
	if err != nil || !reflect.DeepEqual(o, Usual()) {
		t.Errorf("%+v, %v", o, err)
	}
	if !strings.Contains(out.String(), "licensed people") || !strings.Contains(out.String(), "Volts that the strip is rated at [5]: ") {
		t.Error(out.String())
	}
}

// TestAskAgain: an invalid answer is asked for again, and the other answers are kept.
func TestAskAgain(t *testing.T) {
	answers := []string{
		`a "b"`, "Gallery", "230", "twelve", "12", "60,5", "60", "5 x", "5,5; 2.5", "donkey", "regulated", "many", "3", "maybe", "YES", "0", "15",
		"" /* supply volts follow the strip's */, "25", "ends", "both", "3", "-1", "9.5", "thick", "1.5 mm2", "n",
	}
	var out strings.Builder
	o, err := NewQuestions(strings.NewReader(strings.Join(answers, "\r\n")), &out).Options(Usual())
	if err != nil {
		t.Fatal(err)
	}
	want := Usual()
	want.Name, want.Volts, want.ReelMetres, want.White = "Gallery", 12, []float64{5, 5, 2.5}, true
	want.Driver, want.LEDs = "regulated", 3
	want.ChannelMilliamps, want.SupplyVolts, want.SupplyAmps = 15, 12, 25
	want.Fed, want.FeedMetres, want.FarMetres, want.Conductor, want.Fine = Both, 3, 9.5, "1.5 mm2", false
	if !reflect.DeepEqual(o, want) {
		t.Errorf("got  %+v\nwant %+v", o, want)
	}
	for _, said := range []string{"without quotation marks", `"230" is not a number above 0, up to 60`, `"60,5"`, "yes or no", `"x" is not a length`, `"donkey" is not one of linear, resistor, regulated`, `"many" is not a whole number from 0 to 20`, `"ends" is not a way`, `"thick" is not a wire size`} {
		if !strings.Contains(out.String(), said) {
			t.Errorf("%q was not said", said)
		}
	}
}

// Answers that make no run are kept and offered again.
func TestImpossibleAnswersAreKept(t *testing.T) {
	first := []string{"Tower", "24", "60", "9999", "", "6", "", "", "", "", "", "", "", ""}
	again := []string{"", "", "", "4,5,4", "", "", "", "", "", "", "", "", "", ""}
	var out strings.Builder
	o, err := NewQuestions(strings.NewReader(strings.Join(append(first, again...), "\n")+"\n"), &out).Options(Usual())
	if err != nil || o.Name != "Tower" || o.Volts != 24 || o.SupplyVolts != 24 || o.LEDs != 6 || !reflect.DeepEqual(o.ReelMetres, []float64{4, 5, 4}) {
		t.Fatalf("%+v, %v\n%s", o, err, out.String())
	}
	for _, said := range []string{"These answers make no run:", "Name of the run [Tower]", "in the order of the data, such as 4,5,4 [9999]"} {
		if !strings.Contains(out.String(), said) {
			t.Errorf("%q was not said in\n%s", said, out.String())
		}
	}
}

// Six LEDs in a row at 24 V: 6 · 3.1 V and a driver's 0.6 V make 19.2 V.
func TestLEDsInARowGiveTheKnee(t *testing.T) {
	for driver, want := range map[string]string{
		"linear":    "knee_volts = {red = 13.2, green = 19.2, blue = 19.2, white = 19.2} # ",
		"resistor":  "forward_volts = {red = 12.6, green = 18.6, blue = 18.6, white = 18.6} # ",
		"regulated": "idle_milliamps = 0.8          # one pixel, dark\n#",
	} {
		o := Usual()
		o.Volts, o.SupplyVolts, o.White, o.LEDs, o.Driver = 24, 24, true, 6, driver
		var out strings.Builder
		if err := Write(&out, o); err != nil || !strings.Contains(out.String(), want) {
			t.Errorf("%s: %v\n%s", driver, err, out.String())
		}
	}
}

func TestAskEndsEarly(t *testing.T) {
	for _, answers := range []string{"", "Hall", "Hall\n5\nx"} {
		if _, err := NewQuestions(strings.NewReader(answers), io.Discard).Options(Usual()); !errors.Is(err, io.ErrUnexpectedEOF) {
			t.Errorf("%q: %v", answers, err)
		}
	}
	if _, err := NewQuestions(strings.NewReader("\n\n"), full{}).Options(Usual()); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("nowhere to ask: %v", err)
	}
}

// full is a writer without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

func ExampleWrite() {
	o := Usual()
	o.LoopMilliohms = -1
	fmt.Println(Write(os.Stdout, o))
	// Output:
	// strip.loop_milliohms_per_metre: -1 is out of range (0 to 1000000 mΩ)
}
