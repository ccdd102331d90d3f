package probes

import "embed"

// Files holds the shipped profiles.
//
//go:embed *.toml
var Files embed.FS
