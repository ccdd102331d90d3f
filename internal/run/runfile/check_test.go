package runfile

import (
	"strings"
	"testing"
)

const nightly = `[[check]]
step = "white 5 %"
at = "03:30"
seconds = 60
`

func TestChecks(t *testing.T) {
	r, err := Parse("f.toml", []byte(base+nightly+"[[check]]\nstep = \"white 5 %\"\nat = \"23:59\"\nseconds = 61\nsettle_seconds = 0\n"))
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Checks) != 2 {
		t.Fatalf("%+v", r.Checks)
	}
	first, second := r.Checks[0], r.Checks[1]
	if first.Step != 0 || first.At != 3*60+30 || first.Seconds != 60 || first.Settle != 2 {
		t.Errorf("%+v", first)
	}
	if second.At != 23*60+59 || second.Settle != 0 {
		t.Errorf("%+v", second)
	}
}

func TestCheckFaults(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{`step = "white 5 %"`, `step = "white 6 %"`, `check.step: no step is named "white 6 %" (did you mean "white 5 %"?)`},
		{`step = "white 5 %"`, ``, "check.step: is missing"},
		{`at = "03:30"`, ``, "check.at: is missing"},
		{`at = "03:30"`, `at = 330`, "check.at: is a number, not a text"},
		{`at = "03:30"`, `at = "3:30"`, `check.at: "3:30" is not a time of day`},
		{`at = "03:30"`, `at = "24:00"`, `check.at: "24:00" is not a time of day`},
		{`at = "03:30"`, `at = "23:60"`, `check.at: "23:60" is not a time of day`},
		{`at = "03:30"`, `at = "03-30"`, `is not a time of day`},
		{`seconds = 60`, ``, "check.seconds: is missing"},
		{`seconds = 60`, `seconds = 0`, "check.seconds: 0 is out of range"},
		{`seconds = 60`, "seconds = 60\nsettle_seconds = 60", "check.settle_seconds: 60 s are not less than the 60 s"},
		{`seconds = 60`, "seconds = 60\nday = 1", "check.day: is not known here"},
		{nightly, nightly + strings.Replace(nightly, "03:30", "03:30", 1), "check.at: is shown while the check on line"},
		{nightly, strings.Replace(nightly, "60", "61", 1) + strings.Replace(nightly, "03:30", "03:31", 1), "check.at: is shown while"},
		{nightly, nightly + strings.Replace(strings.Replace(nightly, "03:30", "03:29", 1), "60", "61", 1), "check.at: is shown while"},
		{nightly, strings.Replace(strings.Replace(nightly, "03:30", "23:59", 1), "60", "90", 1) + strings.Replace(nightly, "03:30", "00:00", 1), "check.at: is shown while"},
		{nightly, nightly + strings.Replace(nightly, "03:30", "03:31", 1), ""}, // one after the other
	} {
		text := strings.Replace(base+nightly, c.from, c.to, -1)
		if c.from != nightly { // step = … stands in base as well, as name = …
			text = base + strings.Replace(nightly, c.from, c.to, 1)
		}
		_, err := Parse("f.toml", []byte(text))
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%q: got %v, want %q", c.to, err, c.want)
		}
	}
}

// A line may hold a voltage and a current of one id; twice the same is a mistake.
func TestOneIDTwoQuantities(t *testing.T) {
	voltage := "[[probe.channel]]\nid = \"1\"\nquantity = \"voltage\"\nfrom = \"west.start+\"\nto = \"west.start-\"\n"
	r, err := Parse("f.toml", []byte(base+voltage))
	if err != nil || len(r.Probes[0].Channels) != 2 || r.Probes[0].Every != 0 {
		t.Fatalf("%+v, %v", r, err)
	}
	_, err = Parse("f.toml", []byte(base+voltage+voltage))
	if err == nil || !strings.Contains(err.Error(), `"1" is already a channel of this probe for its voltage`) {
		t.Errorf("got %v", err)
	}
	_, err = Parse("f.toml", []byte(strings.Replace(base, "profile = ", "every_seconds = 0\nprofile = ", 1)))
	if err == nil || !strings.Contains(err.Error(), "probe.every_seconds: 0 is out of range") {
		t.Errorf("got %v", err)
	}
}
