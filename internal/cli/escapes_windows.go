package cli

import (
	"os"

	"golang.org/x/sys/windows"
)

// takesEscapes reports whether a console follows ECMA-48 escape sequences, and has it do so.
func takesEscapes(console *os.File) bool {
	var mode uint32
	handle := windows.Handle(console.Fd())
	return windows.GetConsoleMode(handle, &mode) == nil &&
		windows.SetConsoleMode(handle, mode|windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING) == nil
}
