package toml

import (
	"math"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// kind is the type of a value, named as in messages.
type kind int

const (
	nothing kind = iota // a value that was already reported as wrong
	text
	number
	boolean
	list
	table
	tables
	moment
)

func (k kind) String() string {
	return [...]string{"nothing", "a text", "a number", "true or false", "a list", "a table", "several tables", "a date or time"}[k]
}

// value is one value; only the field of its kind is set.
type value struct {
	kind   kind
	line   int
	text   string
	number float64
	yes    bool
	list   []value
	table  *Table
	tables []*Table
}

// scalar reads a text, number, boolean or date; ok is false where a number does
// not fit into a float64.
func scalar(n *unstable.Node, line int) (v value, ok bool) {
	v.line = line
	switch n.Kind {
	case unstable.String:
		v.kind, v.text = text, string(n.Data)
	case unstable.Bool:
		v.kind, v.yes = boolean, n.Data[0] == 't'
	case unstable.Integer, unstable.Float:
		v.kind = number
		v.number, ok = finite(string(n.Data))
		return v, ok
	default:
		v.kind = moment
	}
	return v, true
}

// finite reads a TOML integer or float.
func finite(s string) (float64, bool) {
	if whole, err := strconv.ParseInt(s, 0, 64); err == nil {
		return float64(whole), true
	}
	x, err := strconv.ParseFloat(strings.ReplaceAll(s, "_", ""), 64)
	return x, err == nil && !math.IsInf(x, 0) && !math.IsNaN(x)
}
