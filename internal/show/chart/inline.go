package chart

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"strings"

	"github.com/wcharczuk/go-chart/v2/drawing"
)

// themed has the name of the CSS variable of each colour that a page may set. The colour of the
// first step is that of pass.
var themed = map[string]string{
	hex(paper): "--paper", hex(text): "--text", hex(faint): "--faint", hex(rule): "--rule", hex(guide): "--guide", hex(strip): "--strip",
	hex(sound): "--pass", hex(faulty): "--fail", hex(unknown): "--unproven",
	hex(stepInks[1].stroke): "--step-2", hex(stepInks[2].stroke): "--step-3", hex(stepInks[3].stroke): "--step-4", hex(stepInks[4].stroke): "--step-5",
}

func hex(c drawing.Color) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// Inline writes the picture as one <svg> element for a page that has a colour scheme of its own and
// a content security policy that forbids style attributes: each property is an attribute, and each
// colour a CSS variable of the page such as --text, with the picture's own colour where the page
// sets none.
func (p *Picture) Inline(w io.Writer) error {
	var b bytes.Buffer
	if err := p.SVG(&b); err != nil {
		return err
	}
	_, err := w.Write(styleAttribute.ReplaceAllFunc(b.Bytes(), func(style []byte) []byte {
		return []byte(presentation(string(styleAttribute.FindSubmatch(style)[1])))
	}))
	return err
}

// styleAttribute matches the style of an element. A picture's texts are escaped, so that it does
// not match within them.
var styleAttribute = regexp.MustCompile(`style="([^"]*)"`)

// presentation returns a style as presentation attributes (SVG 2, section 6.6).
func presentation(style string) string {
	var out []string
	for property := range strings.SplitSeq(style, ";") {
		name, value, ok := strings.Cut(property, ":")
		if !ok {
			continue
		}
		out = append(out, fmt.Sprintf(`%s="%s"`, name, themedValue(value)))
		if alpha, partly := opacity(value); partly {
			out = append(out, fmt.Sprintf(`%s-opacity="%s"`, name, alpha))
		}
	}
	return strings.Join(out, " ")
}

var rgba = regexp.MustCompile(`^rgba\((\d+),(\d+),(\d+),([0-9.]+)\)$`)

// themedValue returns a property's value with a colour of the palette as the page's variable.
func themedValue(value string) string {
	m := rgba.FindStringSubmatch(value)
	if m == nil {
		return value
	}
	own := hex(drawing.Color{R: byteOf(m[1]), G: byteOf(m[2]), B: byteOf(m[3])})
	if name, known := themed[own]; known {
		return "var(" + name + "," + own + ")"
	}
	return own
}

// opacity returns the opacity of a colour, and whether it lets something through.
func opacity(value string) (alpha string, partly bool) {
	m := rgba.FindStringSubmatch(value)
	if m == nil || m[4] == "1.0" || m[4] == "1" {
		return "", false
	}
	return m[4], true
}

// byteOf returns the number, 0 to 255, that digits write.
func byteOf(digits string) (n uint8) {
	for _, d := range digits {
		n = 10*n + uint8(d-'0')
	}
	return n
}
