// Package toml reads a TOML file strictly and keeps the line of every key and
// value, so that its caller can report the line of every fault.
//
// The caller reads the keys that it knows from a Table, each by its type. Done then reports every
// other key, with the most similar known one. No fault ends the reading: Err returns all of them in
// the order of their lines. These are wrong types, keys written twice, lines that are not TOML, and
// what the caller adds with Fault.
//
// A line that is not TOML is skipped, and reading continues at the next line that can begin
// a header or key. A key that is missing because of it is not reported as missing: see
// Missing and Damaged.
//
// The syntax is TOML 1.0 (https://toml.io/en/v1.0.0) as the parser of
// github.com/pelletier/go-toml/v2 reads it. Numbers must be finite. The package
// reads no files.
package toml
