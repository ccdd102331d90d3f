package cli

import (
	"fmt"
	"path/filepath"
	"strings"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/report"
)

// drawPrediction draws the volts along a predicted run into a file.
func drawPrediction(path string, p *prediction.Prediction) error {
	return draw(path, chart.Predicted(p, chart.Wide))
}

// drawResistances draws an assessment's resistances against their limits into a file.
func drawResistances(path string, a *assessment.Assessment) error {
	return draw(path, chart.Resistances(report.WorstFirst(a.Elements), chart.Wide))
}

// drawable refuses a picture's file whose ending says no form; "" is no picture.
func drawable(path string) error {
	switch ending(path) {
	case ".png", ".svg":
		return nil
	}
	if path == "" {
		return nil
	}
	return fmt.Errorf("%s: a picture's file ends in .png or .svg", path)
}

// draw writes a picture in the form that the file's ending names.
func draw(path string, p *chart.Picture) error {
	if ending(path) == ".svg" {
		return writeFile(path, p.SVG)
	}
	return writeFile(path, p.PNG)
}

func ending(path string) string { return strings.ToLower(filepath.Ext(path)) }
