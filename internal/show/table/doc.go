// Package table writes results as plain text for a terminal, the worst first. Every
// output depends on its arguments alone: it reads no clock, no file and no terminal.
package table
