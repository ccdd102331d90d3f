//go:build !linux

package sqlitefile

import "os"

// lockStore does nothing: on other systems the two kinds of lock conflict. Only the file beside
// the store is locked; its path has no symbolic links.
func lockStore(string) (*os.File, error) { return nil, nil }
