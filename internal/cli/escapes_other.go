//go:build !windows

package cli

import "os"

// takesEscapes reports whether a terminal follows ECMA-48 escape sequences, as all do.
func takesEscapes(*os.File) bool { return true }
