// Package browsertest opens pages in a headless Chromium, for tests.
//
// A test calls Start, and skips there unless its flag -browser is set and the program chromium is
// found. A Tab is one window of a size and a colour scheme, without cookies of others; its methods
// end the test where they fail. When the test ends, a tab has failed it if a script of its pages
// threw an error or the content security policy forbade something.
//
//	func TestPage(t *testing.T) {
//		tab := browsertest.Start(t).Tab(t, browsertest.Phone)
//		tab.Open(address)
//		tab.Press("#begin")
//		tab.Until(`document.querySelector("#volts").textContent == "5.02 V"`)
//		tab.Picture("begun")
//	}
//
//	go test ./internal/site/watched -run Page -browser -pictures pictures -axe axe.min.js
package browsertest

import (
	"context"
	"flag"
	"os/exec"
	"testing"

	"github.com/chromedp/chromedp"
)

var (
	wanted   = flag.Bool("browser", false, "run the tests that open pages in a headless Chromium")
	pictures = flag.String("pictures", "", "folder for pictures of the screen; \"\": none are kept")
	axe      = flag.String("axe", "", "axe.min.js of the npm package axe-core, which checks pages for accessibility; \"\": the tests that use it skip")
)

// Browser is a running browser.
type Browser struct{ ctx context.Context }

// Start starts a browser that ends with the test.
func Start(t *testing.T) *Browser {
	t.Helper()
	if !*wanted {
		t.Skip("opens a browser; run it with -browser")
	}
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path),
		chromedp.UserDataDir(t.TempDir()),
		chromedp.NoSandbox, // root needs it; only pages of this machine are opened
		chromedp.DisableGPU,
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("hide-scrollbars", true),
	)
	allocator, freed := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(freed)
	ctx, closed := chromedp.NewContext(allocator)
	t.Cleanup(closed)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("chromium: %v", err)
	}
	return &Browser{ctx}
}
