package store

import (
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

var deliveries = flag.Int("deliveries", 1, "how many random histories of a store are shipped")

// receiver is a destination that can only append. It ignores what it has already.
type receiver struct {
	t         *testing.T
	series    map[int64]*Series // by identity
	readings  map[string]Sent
	revisions map[int64]Revision
	marks     map[string]bool
	has       Arrived
}

func (v *receiver) take(d *Delivery) {
	newest := int64(0)
	for _, r := range d.Revisions {
		v.revisions[r.ID] = r
		newest = r.ID
	}
	if newest != d.Newest {
		v.t.Errorf("the newest revision is %d, not %d", newest, d.Newest)
	}
	for _, m := range d.Marks {
		v.marks[fmt.Sprint(newest, m)] = true
	}
	for _, x := range d.Series {
		if v.series[x.Identity] == nil {
			v.series[x.Identity] = x
		}
	}
	for _, x := range d.Readings {
		x.Series = v.series[x.Series.Identity]
		key := fmt.Sprint(x.Series.Identity, x.At, x.Revision, x.Nth)
		if before, ok := v.readings[key]; !ok {
			v.readings[key] = x
		} else if before.Text != x.Text || before.Quality != x.Quality || before.Count != x.Count || before.Rank != x.Rank {
			v.t.Errorf("%s was sent as %+v and as %+v", key, before, x)
		}
	}
	v.has.Turn = max(v.has.Turn, d.Turn)
	if d.Whole {
		v.has.Whole = max(v.has.Whole, d.Newest)
	}
}

// backup returns a copy.
func (v *receiver) backup() *receiver {
	return &receiver{v.t, maps.Clone(v.series), maps.Clone(v.readings), maps.Clone(v.revisions), maps.Clone(v.marks), v.has}
}

// all returns the measured values as a reader of the destination would.
func (v *receiver) all() (list []reading.Reading) {
	byMoment := map[int64][]Sent{}
	for _, x := range v.readings {
		newest := int64(0)
		for _, r := range v.revisions {
			if r.ID <= v.has.Whole && r.First <= x.At && x.At <= r.Last {
				newest = max(newest, r.ID)
			}
		}
		if x.Revision == newest {
			byMoment[x.At] = append(byMoment[x.At], x)
		}
	}
	var moments []int64
	for at := range byMoment {
		moments = append(moments, at)
	}
	slices.Sort(moments)
	var back Receiver
	for _, at := range moments {
		SortMoment(byMoment[at])
		for _, x := range byMoment[at] {
			if !x.Quality.Measured() {
				continue
			}
			one, err := back.Reading(&x)
			if err != nil {
				v.t.Fatal(err)
			}
			list = append(list, one)
		}
	}
	return list
}

// Readings are added and changed while others are sent, and sending is interrupted at any point. In
// the end the destination has the same readings, digits, values and order as the store.
func TestDeliveryIsComplete(t *testing.T) {
	t.Parallel()
	for seed := range *deliveries {
		t.Run(fmt.Sprint(seed), func(t *testing.T) { deliver(t, rand.New(rand.NewPCG(uint64(seed), 17))) })
	}
}

func deliver(t *testing.T, random *rand.Rand) {
	s, _ := temporary(t)
	ctx := t.Context()
	w, err := s.Writer(ctx, Owner{Name: "a test", Boot: "first", FoldAfter: 3})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Close() })
	probe := Channel{Run: cornice.Name, Probe: "board", Quantity: run.Voltage, From: "west.1+", To: "west.1-", Unit: "V", Meter: "hand"}
	numbers, err := w.Channel(probe)
	if err != nil {
		t.Fatal(err)
	}
	probe.Scale, probe.Quantity, probe.From, probe.To, probe.Unit = "0.00125", run.Current, "near", "", "A"
	words, err := w.Channel(probe)
	if err != nil {
		t.Fatal(err)
	}
	now := start
	uncertain := reading.Good
	record := func() {
		var samples []Sample
		for range 1 + random.IntN(4) {
			now = now.Add(time.Duration(random.IntN(3)) * time.Second) // some of the same moment
			samples = append(samples, Sample{Channel: numbers, Time: now, Mono: now.Sub(start) + time.Hour, Quality: uncertain, Text: fmt.Sprintf("4.%03d", random.IntN(1000))},
				Sample{Channel: words, Time: now, Mono: now.Sub(start) + time.Hour, Quality: uncertain, Count: random.Int64N(4000)})
		}
		if random.IntN(5) == 0 {
			samples = append(samples, Sample{Channel: numbers, Time: now, Quality: reading.Overload, Text: "OL"})
		}
		check(t, w.Append(ctx, samples, RunMark{Run: cornice.Name, Mark: Mark{Time: now, Kind: MarkGap, Subject: "board", Text: "since then"}}))
	}
	imported := 0
	change := func() {
		switch random.IntN(9) {
		case 0, 1, 2:
			record()
		case 3, 4: // of long ago, or of moments that are there
			imported += 8
			add(t, s, "file", scans(random.IntN(3)*7, imported))
		case 5:
			if list := all(t, s, Filter{}); len(list) > 0 {
				_, _, err := s.Withdraw(ctx, cornice.Name, list[random.IntN(len(list)):][:1], "misread", now)
				check(t, err)
			}
		case 6:
			gone, err := s.Withdrawn(ctx, Selection{Run: cornice.Name})
			check(t, err)
			if len(gone) > 0 {
				_, _, err := s.Restore(ctx, cornice.Name, gone[:1], "", now)
				check(t, err)
			}
		case 7:
			_, err := s.CorrectAll(ctx, Selection{Run: cornice.Name, Quantity: new(run.Current)}, []string{"0.00125", "0.0025"}[random.IntN(2)])
			check(t, err)
		case 8:
			check(t, s.Mark(ctx, cornice.Name, Mark{Time: now, Kind: MarkNote, Text: "re-made"}))
			if random.IntN(2) == 0 {
				_, err := s.WithdrawMark(ctx, cornice.Name, MarkNote, "re-made", time.Time{}, now)
				check(t, err)
			} else {
				_, _, err := s.RedateTo(ctx, cornice.Name, now.Add(-3*time.Second), time.Time{}, now.Add(-time.Duration(random.IntN(9000))*time.Second), now)
				check(t, err)
			}
		}
	}
	v := &receiver{t: t, series: map[int64]*Series{}, readings: map[string]Sent{}, revisions: map[int64]Revision{}, marks: map[string]bool{}}
	backup := v.backup()
	says := random.IntN(2) == 0 // not every destination says what it has
	have := func() Arrived {
		if !says {
			return Arrived{}
		}
		_, confirmed, err := s.Sender(ctx, cornice.Name, "central")
		check(t, err)
		has := v.has
		has.Lost = has.Turn < confirmed
		return has
	}
	for range 30 {
		change()
		if says && random.IntN(4) == 0 {
			if random.IntN(3) == 0 { // the destination is restored
				v = backup.backup()
			} else {
				backup = v.backup()
			}
		}
		d, err := s.Undelivered(ctx, cornice.Name, "central", have(), 1+random.IntN(40))
		check(t, err)
		if random.IntN(2) == 0 {
			change() // meanwhile
		}
		switch random.IntN(4) {
		case 0: // not sent
			continue
		case 1: // sent, but the confirmation is lost
			v.take(d)
		default:
			v.take(d)
			check(t, s.Delivered(ctx, d))
		}
	}
	for more := true; more; {
		d, err := s.Undelivered(ctx, cornice.Name, "central", have(), 100)
		check(t, err)
		v.take(d)
		check(t, s.Delivered(ctx, d))
		more = d.More
	}
	if got, want := v.all(), all(t, s, Filter{}); !reflect.DeepEqual(got, want) {
		t.Errorf("%d readings have arrived, the store has %d", len(got), len(want))
		for i := range min(len(got), len(want)) {
			if !reflect.DeepEqual(got[i], want[i]) {
				t.Fatalf("reading %d:\n%+v\n%+v", i, got[i], want[i])
			}
		}
	}
	marks, err := s.AllMarks(ctx, cornice.Name, time.Time{}, time.Time{})
	check(t, err)
	newest := int64(0)
	for id := range v.revisions {
		newest = max(newest, id)
	}
	for _, m := range marks {
		if !v.marks[fmt.Sprint(newest, m)] {
			t.Errorf("mark %v has not arrived", m)
		}
	}
	if d, err := s.Undelivered(ctx, cornice.Name, "central", Arrived{}, 100); err != nil || !d.Empty() {
		t.Errorf("there is still something to send: %d readings, %d marks, revised %v, %v", len(d.Readings), len(d.Marks), d.Revised, err)
	}
}

// Two programs send to one destination at once, as ship beside a watch that ships: a reading of an earlier date that
// is added meanwhile is sent.
func TestTwoSendAtOnce(t *testing.T) {
	s, _ := temporary(t)
	ctx := t.Context()
	add(t, s, "file", scans(10, 4))
	undelivered := func() *Delivery {
		t.Helper()
		d, err := s.Undelivered(ctx, cornice.Name, "central", Arrived{}, 100)
		check(t, err)
		return d
	}
	one, other := undelivered(), undelivered()
	if len(one.Readings) != len(other.Readings) || len(one.Readings) == 0 {
		t.Fatalf("%d and %d readings", len(one.Readings), len(other.Readings))
	}
	add(t, s, "file", scans(0, 1)) // earlier than all before
	check(t, s.Delivered(ctx, one))
	check(t, s.Delivered(ctx, other))
	d := undelivered()
	if len(d.Readings) == 0 || d.Readings[0].At >= one.Readings[0].At {
		t.Errorf("the earlier reading is not sent: %d readings", len(d.Readings))
	}
	check(t, s.Delivered(ctx, d))
	if d := undelivered(); !d.Empty() {
		t.Errorf("%d readings are sent again", len(d.Readings))
	}
}

func check(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// A store that was rescued from damage is still the one that destinations know.
func TestIdentityOutlivesDamage(t *testing.T) {
	s, path := temporary(t)
	ctx := t.Context()
	add(t, s, "file", scans(10, 4))
	d, err := s.Undelivered(ctx, cornice.Name, "central", Arrived{}, 100)
	check(t, err)
	before, _, err := s.Sender(ctx, cornice.Name, "central")
	check(t, err)
	check(t, s.Delivered(ctx, d))
	if again, confirmed, err := s.Sender(ctx, cornice.Name, "central"); again != before || len(before) != 32 || confirmed != d.Turn || err != nil {
		t.Fatalf("%q, then %q, %d confirmed of %d, %v", before, again, confirmed, d.Turn, err)
	}
	check(t, s.Close())
	if _, err := Rescue(ctx, path); err != nil {
		t.Fatal(err)
	}
	s, err = Open(path)
	check(t, err)
	defer s.Close()
	if after, _, err := s.Sender(ctx, cornice.Name, "central"); after != before || err != nil {
		t.Errorf("%q, and %q before the damage, %v", after, before, err)
	}
}
