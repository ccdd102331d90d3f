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
	o, err := Ask(strings.NewReader(strings.Repeat("\n", 20)), &out, Usual())
	if err != nil || !reflect.DeepEqual(o, Usual()) {
		t.Errorf("%+v, %v", o, err)
	}
	if !strings.Contains(out.String(), "licensed people") || !strings.Contains(out.String(), "Volts that the strip is rated at [5]: ") {
		t.Error(out.String())
	}
}

// TestAskAgain: an answer that cannot be is asked for again, and loses no other.
func TestAskAgain(t *testing.T) {
	answers := []string{
		`a "b"`, "Gallery", "230", "twelve", "12", "60,5", "60", "5 x", "5 5 2.5", "maybe", "YES", "0", "15",
		"" /* supply volts follow the strip's */, "25", "ends", "both", "3", "-1", "9.5", "thick", "1.5 mm2", "n",
	}
	var out strings.Builder
	o, err := Ask(strings.NewReader(strings.Join(answers, "\r\n")), &out, Usual())
	if err != nil {
		t.Fatal(err)
	}
	want := Usual()
	want.Name, want.Volts, want.ReelMetres, want.White = "Gallery", 12, []float64{5, 5, 2.5}, true
	want.ChannelMilliamps, want.SupplyVolts, want.SupplyAmps = 15, 12, 25
	want.Fed, want.FeedMetres, want.FarMetres, want.Conductor, want.Fine = Both, 3, 9.5, "1.5 mm2", false
	if !reflect.DeepEqual(o, want) {
		t.Errorf("got  %+v\nwant %+v", o, want)
	}
	for _, said := range []string{"without quotation marks", `"230" is no number above 0, up to 60`, `"60,5"`, "yes or no", `"ends" is no way`, `"thick" is no size of a wire`} {
		if !strings.Contains(out.String(), said) {
			t.Errorf("%q was not said", said)
		}
	}
}

func TestAskEndsEarly(t *testing.T) {
	for _, answers := range []string{"", "Hall", "Hall\n5\nx"} {
		if _, err := Ask(strings.NewReader(answers), io.Discard, Usual()); !errors.Is(err, io.ErrUnexpectedEOF) {
			t.Errorf("%q: %v", answers, err)
		}
	}
	if _, err := Ask(strings.NewReader("\n\n"), full{}, Usual()); !errors.Is(err, io.ErrShortWrite) {
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
