package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ohmkeep/internal/file"
	"ohmkeep/internal/show/chart"
)

// outputs are the names of the page and the picture to write; "" = not written.
type outputs struct {
	page, picture string
	force         bool
	inputs        []string // the files that the command reads
}

// flags adds --report and --picture, each where it has a usage, and --force.
func (o *outputs) flags(c *cobra.Command, page, picture string) {
	if page != "" {
		c.Flags().StringVar(&o.page, "report", "", page)
	}
	if picture != "" {
		c.Flags().StringVar(&o.picture, "picture", "", picture)
	}
	addForce(c, &o.force)
}

// addForce adds the flag that lets an output replace a file.
func addForce(c *cobra.Command, force *bool) {
	c.Flags().BoolVar(force, "force", false, "replace a file that is there and was not made by ohmkeep")
}

// check returns an error if an output cannot be written. It is called before any work is
// done. inputs are the files that the command reads; "" and "-" are ignored.
func (o *outputs) check(inputs ...string) error {
	o.inputs = inputs
	if o.picture != "" && !isSVG(o.picture) && ending(o.picture) != ".png" {
		return fmt.Errorf("%s: a picture's file ends in .png or .svg", o.picture)
	}
	for path, kind := range map[string]file.Kind{o.page: file.Page, o.picture: file.Picture} {
		if path == "" {
			continue
		}
		if err := o.output(path, kind).Check(); err != nil {
			return err
		}
	}
	return nil
}

func (o *outputs) output(path string, kind file.Kind) file.Output {
	return file.Output{Path: path, Kind: kind, Force: o.force, Inputs: o.inputs}
}

// writePage writes the page, if a flag names one, and prints its name.
func (o *outputs) writePage(c *cobra.Command, write func(io.Writer) error) error {
	return o.write(c, "report", o.page, file.Page, write)
}

// draw writes the picture, if a flag names one, in the format of the file's extension, and
// prints its name.
func (o *outputs) draw(c *cobra.Command, make func() *chart.Picture) error {
	return o.write(c, "picture", o.picture, file.Picture, func(w io.Writer) error {
		if isSVG(o.picture) {
			return make().SVG(w)
		}
		return make().PNG(w)
	})
}

func (o *outputs) write(c *cobra.Command, what, path string, kind file.Kind, write func(io.Writer) error) error {
	if path == "" {
		return nil
	}
	if err := o.output(path, kind).Write(write); err != nil {
		return err
	}
	fmt.Fprintf(c.ErrOrStderr(), "%s: %s\n", what, path)
	return nil
}

func ending(path string) string { return strings.ToLower(filepath.Ext(path)) }

func isSVG(path string) bool { return ending(path) == ".svg" }
