package cli

import (
	"fmt"
	"os"
	"testing"
	"unsafe"

	"golang.org/x/sys/windows"
)

var kernel32 = windows.NewLazySystemDLL("kernel32.dll")

func call(t *testing.T, name string, args ...uintptr) uintptr {
	t.Helper()
	r, _, err := kernel32.NewProc(name).Call(args...)
	if r == 0 {
		t.Fatalf("%s: %v", name, err)
	}
	return r
}

// On a console of an old code page, where the bytes of UTF-8 would be other letters,
// printed text is shown unchanged: Go writes to consoles in UTF-16 for any code page.
func TestConsoleOfAnotherCodePage(t *testing.T) {
	// A test that has no console is given one.
	if r, _, _ := kernel32.NewProc("GetConsoleOutputCP").Call(); r == 0 {
		_, _, _ = kernel32.NewProc("FreeConsole").Call()
		call(t, "AllocConsole")
	}
	call(t, "SetConsoleOutputCP", 437)
	name, err := windows.UTF16PtrFromString("CONOUT$")
	if err != nil {
		t.Fatal(err)
	}
	handle, err := windows.CreateFile(name, windows.GENERIC_READ|windows.GENERIC_WRITE, windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE,
		nil, windows.OPEN_EXISTING, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	console := os.NewFile(uintptr(handle), "CONOUT$")
	defer console.Close()
	var before windows.ConsoleScreenBufferInfo
	if err := windows.GetConsoleScreenBufferInfo(handle, &before); err != nil {
		t.Fatal(err)
	}
	const text = "joint west-north 97.1 mΩ … 5 µV"
	fmt.Fprintln(console, text)
	seen := make([]uint16, len([]rune(text)))
	var n uint32
	at := uintptr(uint16(before.CursorPosition.X)) | uintptr(uint16(before.CursorPosition.Y))<<16
	call(t, "ReadConsoleOutputCharacterW", uintptr(handle), uintptr(unsafe.Pointer(&seen[0])), uintptr(len(seen)), at, uintptr(unsafe.Pointer(&n)))
	if got := windows.UTF16ToString(seen[:n]); got != text {
		t.Errorf("the console shows %q, not %q", got, text)
	}
}
