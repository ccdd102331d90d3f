package cli

import (
	"os"
	"strings"
	"unsafe"
)

// hideArgument overwrites a text in the program's own arguments, so that the list of processes no
// longer shows it. The runtime's arguments are the memory that the kernel reads them from.
func hideArgument(secret string) {
	for _, arg := range os.Args {
		for from := 0; ; {
			at := strings.Index(arg[from:], secret)
			if at < 0 {
				break
			}
			memory := unsafe.Slice(unsafe.StringData(arg), len(arg))
			for i := range secret {
				memory[from+at+i] = '*'
			}
			from += at + len(secret)
		}
	}
}
