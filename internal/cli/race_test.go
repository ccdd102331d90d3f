//go:build race

package cli

// raceDetector reports whether the tests run under the race detector, whose own memory and
// time say nothing about the program's.
const raceDetector = true
