package archive

import (
	"reflect"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/reading"
)

// The owner may make a month of parts of its own, by a hash of the site, and take an old month away:
// a site's role writes into the one, and a reader has what is left.
func TestPartitionsOfTheOwner(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	db, err := postgres.Connect(t.Context(), url, postgres.Options{})
	check(t, err)
	defer db.Close()
	check(t, db.Migrate(t.Context()))
	if out, err := server.SQL("owner", "ohmkeep", "CREATE ROLE north LOGIN"); err != nil {
		t.Fatal(out)
	}
	r := shelf(t, "North hall")
	check(t, fleet.Enrol(t.Context(), db, r.Site, "north"))
	check(t, db.Script(t.Context(), `CREATE TABLE ohmkeep.reading_2026_02 PARTITION OF ohmkeep.reading
		FOR VALUES FROM (1769904000000000000) TO (1772323200000000000) PARTITION BY HASH (site);
		CREATE TABLE ohmkeep.reading_2026_02_even PARTITION OF ohmkeep.reading_2026_02 FOR VALUES WITH (MODULUS 2, REMAINDER 0);
		CREATE TABLE ohmkeep.reading_2026_02_odd PARTITION OF ohmkeep.reading_2026_02 FOR VALUES WITH (MODULUS 2, REMAINDER 1)`))
	s := filled(t, r, 400) // from January into February
	check(t, once(t, s, server.URL("north", "ohmkeep"), r))
	same(t, s, url, r)
	rows(t, s, server, r)
	check(t, db.Script(t.Context(), "ALTER TABLE ohmkeep.reading DETACH PARTITION ohmkeep.reading_2026_01"))
	var want []reading.Reading
	february := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
	for _, x := range readings(t, s, r) {
		if !x.Time.Before(february) {
			want = append(want, x)
		}
	}
	if got := arrived(t, url, r); len(want) == 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("%d readings without January, want %d", len(got), len(want))
	}
	gone, err := fleet.Remove(t.Context(), db, r.Site)
	check(t, err)
	for _, x := range gone.Tables {
		if x.Table == "reading" && x.Deleted != int64(len(want)) {
			t.Errorf("%d readings are deleted, want %d", x.Deleted, len(want))
		}
	}
}
