package decimal

import (
	"math"
	"strconv"
	"testing"
)

func TestFormsGiveTextsBack(t *testing.T) {
	for _, c := range []struct {
		text  string
		count int64
		form  string // "" = none
	}{
		{"4.812", 4812, "0.000"},
		{"0.012", 12, "0.000"},
		{"-0.3", -3, "0.0"},
		{"42", 42, "0"},
		{"0", 0, "0"},
		{"+0", 0, "+0"},
		{"+4.8120E+0", 48120, "+0.0000E+0"},
		{"-1.5e-03", -15, "0.0e-03"},
		{"+4.81200000E+00", 481200000, "+0.00000000E+00"},
		{"1125899906842624", MaxCount, "0"},
		{"1125899906842625", 0, ""},
		{"0.123456789012345", 123456789012345, "0.000000000000000"},
		{"0.0000000000000001", 0, ""},
		{"-0", 0, ""}, {"-0.00", 0, ""}, {"005.1", 0, ""}, {".5", 0, ""}, {"5.", 0, ""}, {"", 0, ""}, {"+", 0, ""},
		{"1e", 0, ""}, {"1e+", 0, ""}, {"1e0000007", 0, ""}, {"1.2.3", 0, ""}, {"4,8", 0, ""}, {"0x10", 0, ""}, {" 1", 0, ""},
	} {
		count, form, ok := Parse(c.text)
		if ok != (c.form != "") || ok && (count != c.count || form.String() != c.form || form.Text(count) != c.text) {
			t.Errorf("%q: %d in %q, %v; back %q", c.text, count, form, ok, form.Text(count))
		}
		if !ok {
			continue
		}
		if again, err := ParseForm(c.form); err != nil || again != form {
			t.Errorf("form %q: %v, %v", c.form, again, err)
		}
		want, _ := strconv.ParseFloat(c.text, 64)
		if got := PowerOfTen(float64(count), form.Exponent()); got != want {
			t.Errorf("%q: %v, parsed %v", c.text, got, want)
		}
	}
	for _, bad := range []string{"1.0", "", "text"} {
		if f, err := ParseForm(bad); err == nil {
			t.Errorf("form %q: %v", bad, f)
		}
	}
	plus, _ := ParseForm("+0.0")
	if plain, _ := ParseForm("0.0"); !plain.Like(plus) || plain.Like(Form{Decimals: 2}) {
		t.Error("Like")
	}
}

func TestScale(t *testing.T) {
	for _, c := range []struct {
		scale string
		count int64
		text  string
	}{
		// Bus voltage 1.25 mV and shunt voltage 2.5 µV a count: INA226 datasheet
		// SBOS547, section 7.5 (FROM MEMORY); the products by hand.
		{"0.00125", 3850, "4.81250"},
		{"2.5E-6", -4000, "-0.0100000"},
		{"0.00125", 0, "0.00000"},
		{"-2.5E-6", 0, "0.0000000"},
		{"0.00127551020408163", 8000, "10.20408163265304000"}, // 2.5 µV over 1.96 mΩ; the product by hand
		{"10", 7, "70"},
		{"1E3", 7, "7E3"},
		{"0.123456789012345", 1 << 40, "135742175046.962"}, // …046.96164… by Python's decimal
	} {
		s, err := ParseScale(c.scale)
		if err != nil || s.Text(c.count) != c.text {
			t.Errorf("%d of %s: %s, %v, want %s", c.count, c.scale, s.Text(c.count), err, c.text)
		}
		want, _ := strconv.ParseFloat(c.text, 64)
		if got := s.Value(c.count); math.Abs(got-want) > 1e-14*math.Abs(want) {
			t.Errorf("%d of %s: %v, want %v", c.count, c.scale, got, want)
		}
	}
	for _, bad := range []string{"", "0", "0.0", "x", "1E99", "1E", "1.", ".5", "+-1", "1.2.3", "0.1234567890123456", "1e9999999999999999999"} {
		if s, err := ParseScale(bad); err == nil {
			t.Errorf("scale %q: %v", bad, s)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{"4.812", "+4.8120E+0", "-0", "005.1", "1e400"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		count, form, ok := Parse(text)
		if !ok {
			return
		}
		if again := form.Text(count); again != text {
			t.Errorf("%q came back as %q", text, again)
		}
		if back, err := ParseForm(form.String()); err != nil || back != form {
			t.Errorf("form %q: %v, %v", form, back, err)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	for b.Loop() {
		Parse("4.81250")
	}
}
