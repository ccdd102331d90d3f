// Package jsondoc writes results as JSON for other programs: one object on one line. Each
// document is a type with tags, which a program in Go, and the tests, decode it into.
// Keys are never renamed and never change their meaning; keys may be added.
package jsondoc
