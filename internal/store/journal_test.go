package store

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/reading"
)

func entry(number int, text string) Entry {
	return Entry{Number: number, Mark: Mark{Time: start.Add(time.Duration(number) * time.Second), Kind: MarkWalk, Text: text}, Source: "walk", Why: "in a walk"}
}

func inForce(t *testing.T, s *Store) []reading.Reading {
	t.Helper()
	var list []reading.Reading
	for x, err := range s.Readings(context.Background(), cornice.Name, Filter{}) {
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, x)
	}
	return list
}

// An entry is stored with its readings or not at all, and only once.
func TestJournal(t *testing.T) {
	s, _ := temporary(t)
	ctx := context.Background()
	readings := scans(0, 3)
	first := entry(1, "one")
	first.Add = readings
	put := func(e Entry, want bool) {
		t.Helper()
		if added, err := s.AddEntry(ctx, cornice.Name, e); added != want || err != nil {
			t.Errorf("entry %d: %v, %v", e.Number, added, err)
		}
	}
	put(entry(2, "too early"), false)
	put(first, true)
	late := entry(1, "late")
	late.Add, late.Withdraw = scans(9, 1), readings
	put(late, false)
	second := entry(2, "two")
	second.Withdraw, second.Add = readings[:1], scans(5, 1)
	put(second, true)
	if list := inForce(t, s); len(list) != 3 || list[0].Text != readings[1].Text {
		t.Errorf("in force: %v", list)
	}
	third := entry(3, "three")
	third.Restore = readings[:1]
	put(third, true)
	if list := inForce(t, s); len(list) != 4 {
		t.Errorf("in force: %v", list)
	}
	bad := entry(4, "bad")
	bad.Add = append(scans(20, 1), reading.Reading{Time: start, Text: "4,8", Unit: "V"})
	if added, err := s.AddEntry(ctx, cornice.Name, bad); added || err == nil {
		t.Errorf("a reading that is no number: %v, %v", added, err)
	}
	marks, err := s.Marks(ctx, cornice.Name, time.Time{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, m := range marks {
		if m.Kind == MarkWalk {
			texts = append(texts, m.Text)
		}
	}
	if got := strings.Join(texts, " "); got != "one two three" || len(inForce(t, s)) != 4 {
		t.Errorf("the journal: %s", got)
	}
}

// Of two programs that add an entry with the same number one succeeds.
func TestJournalOfTwoPrograms(t *testing.T) {
	s, path := temporary(t)
	other, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	var all sync.WaitGroup
	for n, from := range []*Store{s, other} {
		all.Go(func() {
			for number := 1; number <= 20; {
				e := entry(number, fmt.Sprint(n))
				e.Add = scans(100*number+50*n, 1)
				if _, err := from.AddEntry(context.Background(), cornice.Name, e); err != nil {
					t.Error(err)
					return
				}
				number++ // where the other one was first, it has this number
			}
		})
	}
	all.Wait()
	marks, err := s.Marks(context.Background(), cornice.Name, time.Time{}, time.Time{})
	if err != nil || len(marks) != 20 || len(inForce(t, s)) != 20 {
		t.Errorf("%d entries with %d readings, %v", len(marks), len(inForce(t, s)), err)
	}
}
