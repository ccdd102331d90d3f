package toml_test

import (
	"fmt"

	"ohmkeep/internal/run/toml"
)

// A reader asks for the keys it knows, says what they may be, and ends with
// Done and Err.
func Example() {
	root := toml.Parse("lamp.toml", []byte(`# invented example
name = "hall"
colour = "amber"

[lamp]
volts = "5"
wats = 3
`))
	if name, ok := root.Text("name"); !ok || name == "" {
		root.Missing("name", "what people call it")
	}
	if _, ok := root.Number("schema"); !ok {
		root.Missing("schema", "write schema = 1")
	}
	root.Text("color")
	if lamp, ok := root.Table("lamp"); ok {
		lamp.Number("volts")
		lamp.Number("watts")
	}
	root.Done()
	fmt.Println(root.Err())
	// Output:
	// lamp.toml: schema: is missing (write schema = 1)
	// lamp.toml:3: colour: is not known here (did you mean "color"?)
	// lamp.toml:6: lamp.volts: is a text, not a number (write it without quotation marks or unit: volts = 1.5)
	// lamp.toml:7: lamp.wats: is not known here (did you mean "watts"?)
}
