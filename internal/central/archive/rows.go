package archive

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strconv"

	"ohmkeep/internal/store"
)

// staged is a table that rows are added to, by way of a staging table: a role that may only append
// cannot copy into a table that has some of the rows.
type staged struct {
	table   string
	columns string
	staging string // the staging table's columns with their types
}

var (
	readingTable = staged{"reading", "site, series, at, revision, nth, rank, zone, quality, value, counts",
		`site integer, series bigint, at bigint, revision integer, nth integer, rank integer, zone integer, quality smallint, value text, counts bigint`}
	markTable = staged{"mark", "site, run, revision, at, id, zone, kind, subject, text, withdrawn",
		`site integer, run text, revision integer, at bigint, id bigint, zone integer, kind text, subject text, text text, withdrawn bigint`}
)

// add copies rows in the text form of COPY (PostgreSQL 15, COPY, "Text Format") into a staging table, and adds
// those that are new to the table.
func (s *Sink) add(ctx context.Context, to staged, rows []byte) error {
	if len(rows) == 0 {
		return nil
	}
	staging := "pg_temp.staging_" + to.table
	if err := s.db.Script(ctx, "CREATE TEMPORARY TABLE IF NOT EXISTS staging_"+to.table+" ("+to.staging+") ON COMMIT DELETE ROWS"); err != nil {
		return err
	}
	if err := s.db.Copy(ctx, "COPY "+staging+" ("+to.columns+") FROM STDIN", bytes.NewReader(rows)); err != nil {
		return err
	}
	_, err := s.db.Exec(ctx, "INSERT INTO ohmkeep."+to.table+" ("+to.columns+") SELECT "+to.columns+" FROM "+staging+" ON CONFLICT DO NOTHING")
	return err
}

// readingRows returns readings in the text form of COPY.
func (s *Sink) readingRows(all []store.Sent) []byte {
	b := make([]byte, 0, 80*len(all))
	for i := range all {
		x := &all[i]
		for _, n := range [...]int64{s.siteID, x.Series.Identity, x.At, x.Revision, int64(x.Nth), int64(x.Rank), int64(x.Zone), int64(x.Quality)} {
			b = append(strconv.AppendInt(b, n, 10), '\t')
		}
		b = append(appendEscaped(b, x.Text), '\t')
		if x.Series.Scale == "" {
			b = append(b, `\N`...)
		} else {
			b = strconv.AppendInt(b, x.Count, 10)
		}
		b = append(b, '\n')
	}
	return b
}

// markRows returns marks in the text form of COPY.
func (s *Sink) markRows(d *store.Delivery) (b []byte) {
	revision := int64(0)
	if n := len(d.Revisions); n > 0 {
		revision = d.Revisions[n-1].ID
	}
	type mark struct {
		at, withdrawn       int64
		kind, subject, text string
	}
	before := map[mark]int{}
	for _, m := range d.Marks {
		_, zone := m.Time.Zone()
		one := mark{m.Time.UnixNano(), m.Withdrawn.Unix(), m.Kind, m.Subject, m.Text}
		b = append(strconv.AppendInt(b, s.siteID, 10), '\t')
		b = append(appendEscaped(b, s.run), '\t')
		for _, n := range [...]int64{revision, one.at, checksum(m, before[one]), int64(zone)} {
			b = append(strconv.AppendInt(b, n, 10), '\t')
		}
		before[one]++
		for _, text := range [...]string{m.Kind, m.Subject, m.Text} {
			b = append(appendEscaped(b, text), '\t')
		}
		if m.Withdrawn.IsZero() {
			b = append(b, `\N`...)
		} else {
			b = strconv.AppendInt(b, m.Withdrawn.UnixNano(), 10)
		}
		b = append(b, '\n')
	}
	return b
}

// checksum identifies a mark among those of its moment; nth is the number of equal ones before it.
func checksum(m store.Mark, nth int) int64 {
	sum := sha256.Sum256(fmt.Appendf(nil, "%q %q %q %d %d", m.Kind, m.Subject, m.Text, m.Withdrawn.Unix(), nth))
	return int64(binary.LittleEndian.Uint64(sum[:]))
}

// appendEscaped appends a text with the characters escaped that COPY reserves.
func appendEscaped(b []byte, text string) []byte {
	for _, c := range []byte(text) {
		switch c {
		case '\\':
			b = append(b, `\\`...)
		case '\t':
			b = append(b, `\t`...)
		case '\n':
			b = append(b, `\n`...)
		case '\r':
			b = append(b, `\r`...)
		case 0: // PostgreSQL's texts cannot hold it
			b = append(b, '?')
		default:
			b = append(b, c)
		}
	}
	return b
}
