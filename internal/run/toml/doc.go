// Package toml reads a TOML file strictly and remembers the line of
// everything in it, so that whoever gives the file a meaning can say of every
// fault where it is.
//
// A reader asks a Table for the keys it knows, each by its type. The Table
// notes what was asked for; Done then tells of every key that nobody asked for,
// with the nearest known one. No fault ends the reading: wrong types, keys
// written twice, lines that are not TOML and whatever the reader adds with
// Fault come out together, from Err, in the order of their lines.
//
// A line that is not TOML is left out and reading goes on at the next line that
// can begin something. What is missing because of it is not reported a second
// time: see Missing and Damaged.
//
// The syntax is TOML 1.0 (https://toml.io/en/v1.0.0) as the parser of
// github.com/pelletier/go-toml/v2 reads it. Numbers must be finite. The package
// reads no files and knows no key by name.
package toml
