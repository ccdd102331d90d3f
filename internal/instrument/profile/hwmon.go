package profile

import (
	"fmt"
	"math"
	"regexp"
	"slices"

	"ohmkeep/internal/run/toml"
)

// filePattern is of the kernel's files whose values have a quantity.
var filePattern = regexp.MustCompile(`^(in|curr|temp)\d+_input$`)

// currentFile and shuntFile are of a current's file, and of the file of its shunt.
var (
	currentFile = regexp.MustCompile(`^curr\d+_input$`)
	shuntFile   = regexp.MustCompile(`^shunt\d*_resistor$`)
)

func parseFiles(root, t *toml.Table, ok bool) Files {
	if !ok {
		root.Missing("hwmon", "which of the kernel's files are read")
		return Files{}
	}
	f := Files{Every: milliseconds(t, "every_milliseconds", 1000, 1)}
	names, ok := t.Texts("names")
	switch {
	case !ok && !t.Has("names"):
		t.Missing("names", `what the device's file "name" says, such as ["ina226"]`)
	case ok && len(names) == 0:
		t.Fault("names", "is empty", "")
	}
	f.Names = names
	values := t.Tables("value")
	if len(values) == 0 {
		t.Missing("value", "begin each file that is read with [[hwmon.value]]")
	}
	for _, v := range values {
		f.Values = append(f.Values, parseFileValue(v, f.Values))
	}
	return f
}

func parseFileValue(t *toml.Table, before []FileValue) FileValue {
	v := FileValue{Lowest: math.MinInt64, Highest: math.MaxInt64, Channel: "1"}
	v.File = requiredText(t, "file", "such as in1_input")
	if v.File != "" && !filePattern.MatchString(v.File) {
		t.Fault("file", fmt.Sprintf("%q is not a file of a voltage, current or temperature", v.File), "in1_input, curr1_input, temp1_input and the like")
	}
	if slices.ContainsFunc(before, func(other FileValue) bool { return other.File == v.File }) {
		t.Fault("file", fmt.Sprintf("%q is read already", v.File), "")
	}
	if t.Has("id") {
		v.Channel = requiredText(t, "id", "the channel in the run file")
	}
	if v.ShuntFile, _ = t.Text("shunt_file"); v.ShuntFile != "" {
		if !shuntFile.MatchString(v.ShuntFile) {
			t.Fault("shunt_file", fmt.Sprintf("%q is not a file of a shunt", v.ShuntFile), "such as shunt_resistor")
		}
		if !currentFile.MatchString(v.File) {
			t.Fault("shunt_file", "a shunt turns volts into a current", "")
		}
	}
	v.Lowest, v.Highest = parseEnds(t, v.Lowest, v.Highest)
	return v
}
