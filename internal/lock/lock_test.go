package lock

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestSecondIsToldTheFirst(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.watch")
	first := Holder{Process: 41, Run: "Hall", Address: "127.0.0.1:9", Since: time.Unix(1_800_000_000, 0).UTC()}
	l, err := Take(path, first)
	if err != nil {
		t.Fatal(err)
	}
	_, err = Take(path, Holder{Process: 42})
	var held Held
	if !errors.As(err, &held) || held.By != first || !strings.Contains(err.Error(), `process 41, which watches "Hall"`) {
		t.Errorf("got %v", err)
	}
	if h, now, err := Read(path); err != nil || !now || h != first {
		t.Errorf("got %v, %v, %v", h, now, err)
	}
	moved := first
	moved.Address = "127.0.0.1:10"
	if err := l.Say(moved); err != nil {
		t.Fatal(err)
	}
	if h, _, err := Read(path); err != nil || h != moved {
		t.Errorf("got %v, %v", h, err)
	}
	if err := l.Release(); err != nil {
		t.Fatal(err)
	}
	if h, now, err := Read(path); err != nil || now || h != moved {
		t.Errorf("released: got %v, %v, %v", h, now, err)
	}
	again, err := Take(path, Holder{Process: 43})
	if err != nil {
		t.Fatal(err)
	}
	if h, _, err := Read(path); err != nil || h.Process != 43 || h.Run != "" {
		t.Errorf("got %v, %v", h, err)
	}
	if err := again.Release(); err != nil {
		t.Error(err)
	}
	if _, _, err := Read(filepath.Join(t.TempDir(), "none")); err == nil {
		t.Error("a lock that never was has a holder")
	}
}
