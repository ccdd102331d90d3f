// Package table writes results as plain text for a terminal, the worst first. Every
// output depends on its arguments alone: no clock, no file and no terminal is asked.
package table
