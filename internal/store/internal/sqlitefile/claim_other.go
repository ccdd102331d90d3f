//go:build !linux

package sqlitefile

import "os"

// lockStore does nothing: on other systems locks of the two kinds are in each other's way.
// The file beside the store, whose path has no links in it, is claimed alone.
func lockStore(string) (*os.File, error) { return nil, nil }
