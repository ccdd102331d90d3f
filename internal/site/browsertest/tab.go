package browsertest

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// Screen is the size of a window, CSS pixels, and its colour scheme.
type Screen struct {
	Width, Height int64
	Dark          bool
	Touch         bool
}

// Screens of the devices that pages are made for.
var (
	Phone  = Screen{Width: 360, Height: 740, Touch: true}
	Tablet = Screen{Width: 768, Height: 1024, Touch: true}
	Desk   = Screen{Width: 1280, Height: 800}
	Wall   = Screen{Width: 1920, Height: 1080}
)

// In returns the screen in the dark colour scheme.
func (s Screen) InDark() Screen {
	s.Dark = true
	return s
}

// String returns the width and the scheme, as in the name of a picture.
func (s Screen) String() string {
	if s.Dark {
		return fmt.Sprintf("%d-dark", s.Width)
	}
	return fmt.Sprintf("%d-light", s.Width)
}

// actionTimeout is the time that one action may take: far more than it needs, because others use the machine too.
const actionTimeout = time.Minute

// Tab is a window of a browser with a session of its own. It is used by one goroutine.
type Tab struct {
	t      *testing.T
	ctx    context.Context
	screen Screen

	mu       sync.Mutex
	offences []string // errors of scripts, and what the security policy forbade
}

// Tab opens an empty window that closes with the test.
func (b *Browser) Tab(t *testing.T, s Screen) *Tab {
	t.Helper()
	ctx, closed := chromedp.NewContext(b.ctx, chromedp.WithNewBrowserContext())
	tab := &Tab{t: t, ctx: ctx, screen: s}
	messages := chromedp.Console(ctx)
	read := make(chan struct{})
	go func() {
		defer close(read)
		for m, err := range messages {
			if err != nil {
				return
			}
			tab.note(m)
		}
	}()
	t.Cleanup(func() {
		closed()
		<-read
		tab.mu.Lock()
		defer tab.mu.Unlock()
		for _, o := range tab.offences {
			t.Errorf("%v: %s", s, o)
		}
	})
	tab.Resize(s)
	return tab
}

// note keeps a message of the console that is an offence. A server that does not answer is none:
// the pages are made for it.
func (tab *Tab) note(m chromedp.ConsoleMessage) {
	forbidden := strings.Contains(m.Text, "Content Security Policy")
	if m.IsException() || forbidden || m.Type == "error" && m.Source != "network" {
		tab.mu.Lock()
		defer tab.mu.Unlock()
		tab.offences = append(tab.offences, m.String())
	}
}

// Resize gives the window another size or colour scheme, as when a device is turned.
func (tab *Tab) Resize(s Screen) {
	tab.t.Helper()
	tab.screen = s
	var options []chromedp.EmulateViewportOption
	if s.Touch {
		options = append(options, chromedp.EmulateTouch, chromedp.EmulateMobile)
	}
	tab.Do(chromedp.EmulateViewport(s.Width, s.Height, options...))
	tab.media("")
}

// media sets the kind of medium, "" or "print", and the colour scheme.
func (tab *Tab) media(kind string) {
	tab.t.Helper()
	scheme := "light"
	if tab.screen.Dark {
		scheme = "dark"
	}
	tab.Do(chromedp.Func(func(ctx context.Context, to *chromedp.Target) error {
		_, err := cdp.Call(ctx, to, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: kind,
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
		return err
	}))
}

// Do runs actions of chromedp.
func (tab *Tab) Do(actions ...chromedp.Action[chromedp.Void]) {
	tab.t.Helper()
	ctx, cancel := context.WithTimeout(tab.ctx, actionTimeout)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		tab.t.Fatal(err)
	}
}

// Open opens an address and waits until it is loaded.
func (tab *Tab) Open(address string) {
	tab.t.Helper()
	tab.Do(chromedp.Navigate(address))
}

// Type presses keys, such as those of package kb, on the element that has the focus.
func (tab *Tab) Type(keys string) {
	tab.t.Helper()
	tab.Do(chromedp.KeyEvent(keys))
}

// Text returns the text of the first element of a CSS selector, as it is shown.
func (tab *Tab) Text(selector string) string {
	tab.t.Helper()
	return Value[string](tab, fmt.Sprintf("(document.querySelector(%q) ?? {innerText: 'nothing here is '+%[1]q}).innerText", selector))
}

// Press presses a button or link that is in the window and in front of everything else, once it is.
// The page may be redrawn at any moment, so that finding it and pressing it is one script.
func (tab *Tab) Press(selector string) {
	tab.t.Helper()
	tab.Until(fmt.Sprintf(`(() => {
		const button = document.querySelector(%q);
		if (!button?.checkVisibility() || button.disabled || button.ariaDisabled === "true") return false;
		button.scrollIntoView({ block: "nearest" });
		const box = button.getClientRects()[0], at = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
		if (!button.contains(at)) return false;
		button.click();
		return true;
	})()`, selector))
}

// Value returns the value of a script's expression, or of the promise that it is.
func Value[T any](tab *Tab, expression string) T {
	tab.t.Helper()
	v, err := evaluate[T](tab, expression)
	if err != nil {
		tab.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

func evaluate[T any](tab *Tab, expression string) (T, error) {
	ctx, cancel := context.WithTimeout(tab.ctx, actionTimeout)
	defer cancel()
	return chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// Until waits until a page is loaded and a script's expression is true, and returns how long that took. One that fails
// is not true yet: the page may be about to be replaced by another one, or may not have what the expression names.
func (tab *Tab) Until(expression string) time.Duration {
	tab.t.Helper()
	begun := time.Now()
	for {
		yes, err := evaluate[bool](tab, `document.readyState === "complete" && !!(`+expression+")")
		if err == nil && yes {
			return time.Since(begun)
		}
		if time.Since(begun) > actionTimeout {
			shown, _ := evaluate[string](tab, "document.body.innerText") // what is known is printed
			tab.t.Fatalf("never true within %v: %s\n%v\n%s", actionTimeout, expression, err, shown)
		}
		time.Sleep(20 * time.Millisecond)
	}
}
