package store

import (
	"context"
	"testing"
)

// Half a year of 16 channels at 10 Hz is more readings than a 31-bit count holds, which is the
// range of an int on a 32-bit board. An earlier version did not open such a store there.
func TestMoreReadingsThan31Bits(t *testing.T) {
	ctx := context.Background()
	s, path := temporary(t)
	add(t, s, "by hand", scans(0, 64))
	if _, err := s.db.Write.Exec("UPDATE chunk SET n = 1 << 30"); err != nil {
		t.Fatal(err)
	}
	var chunks int64
	if err := s.db.Write.QueryRow("SELECT count(*) FROM chunk").Scan(&chunks); err != nil || chunks < 4 {
		t.Fatal(chunks, err)
	}
	reader, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	runs, err := reader.Runs(ctx)
	if err != nil || len(runs) != 1 || runs[0].Readings != chunks<<30 {
		t.Errorf("got %+v, %v, want %d readings", runs, err, chunks<<30)
	}
}
