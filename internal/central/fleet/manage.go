package fleet

import (
	"context"
	"fmt"
	"strings"
	"time"

	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/fault"
)

// Enrol gives a role the right to append for a site, and adds the site if it does not exist.
func Enrol(ctx context.Context, db *postgres.DB, site, role string) error {
	if err := db.Migrate(ctx); err != nil {
		return err
	}
	_, err := db.Exec(ctx, "SELECT ohmkeep.enrol($1, $2)", site, role)
	return err
}

// Settings are what the owner says of a site; nil = it stays as it is.
type Settings struct {
	Label, Place *string
	Repair       *time.Time // zero = it is not being repaired
}

// Set changes what is known of a site.
func Set(ctx context.Context, db *postgres.DB, site string, to Settings) error {
	if err := db.Migrate(ctx); err != nil {
		return err
	}
	if _, err := siteID(ctx, db, site); err != nil {
		return err
	}
	change := func(column string, value any) error {
		_, err := db.Exec(ctx, "UPDATE ohmkeep.site SET "+column+" = $1 WHERE name = $2", value, site)
		return err
	}
	var err error
	if to.Label != nil {
		err = change("label", *to.Label)
	}
	if err == nil && to.Place != nil {
		err = change("place", *to.Place)
	}
	if err == nil && to.Repair != nil {
		var until any
		if !to.Repair.IsZero() {
			until = *to.Repair
		}
		err = change("repair", until)
	}
	return err
}

// siteID returns the number of a site.
func siteID(ctx context.Context, db *postgres.DB, site string) (int64, error) {
	row, found, err := db.One(ctx, "SELECT id FROM ohmkeep.site WHERE name = $1", site)
	if err == nil && !found {
		err = fault.Fault{Text: fmt.Sprintf("the central database knows no site %q", site), Hint: "ohmkeep fleet lists them"}
	}
	if err != nil {
		return 0, err
	}
	return row.Int(0), nil
}

// Removed is the proof that a site was deleted.
type Removed struct {
	Site   int64 // its number, which is never used again
	Tables []RemovedRows
}

// RemovedRows is how many rows of a table were deleted, and how many of the site are left.
type RemovedRows struct {
	Table         string
	Deleted, Left int64
}

// Remove deletes a site with everything of it, in one transaction, and counts what is left of it in
// every table of the database that has a column for the site. Space and old versions of rows are
// freed afterwards (VACUUM). A row without names stays that says when it was deleted, how many rows,
// and which stores sent them, so that none of them brings the site back. Backups of the database are not changed.
func Remove(ctx context.Context, db *postgres.DB, site string) (*Removed, error) {
	if err := db.Migrate(ctx); err != nil {
		return nil, err
	}
	id, err := siteID(ctx, db, site)
	if err != nil {
		return nil, err
	}
	gone := &Removed{Site: id}
	err = db.Within(ctx, func() error {
		// What a site sends just now is waited for, and what it sends later is refused.
		if _, err := db.Exec(ctx, "SELECT FROM ohmkeep.site WHERE id = $1 FOR UPDATE", id); err != nil {
			return err
		}
		if _, err := db.Exec(ctx, `INSERT INTO ohmkeep.removal (site, rows, "left", stores)
			SELECT $1, 0, 0, array(SELECT store FROM ohmkeep.run WHERE site = $1 AND store IS NOT NULL)`, id); err != nil {
			return err
		}
		// Those that refer to the site itself come last.
		if err := db.Each(ctx, `SELECT c.table_name FROM information_schema.columns c JOIN information_schema.tables t USING (table_schema, table_name)
			WHERE c.table_schema = 'ohmkeep' AND c.column_name = 'site' AND t.table_type = 'BASE TABLE' AND c.table_name <> 'removal'
			AND NOT EXISTS (SELECT FROM pg_inherits WHERE inhrelid = format('ohmkeep.%I', c.table_name)::regclass) ORDER BY c.table_name`, func(r postgres.Row) error {
			gone.Tables = append(gone.Tables, RemovedRows{Table: r.Text(0)})
			return nil
		}); err != nil {
			return err
		}
		gone.Tables = append(gone.Tables, RemovedRows{Table: "site"})
		total, left := int64(0), int64(0)
		for i := range gone.Tables {
			t := &gone.Tables[i]
			column := "site"
			if t.Table == "site" {
				column = "id"
			}
			if t.Deleted, err = db.Exec(ctx, fmt.Sprintf("DELETE FROM ohmkeep.%s WHERE %s = $1", quoted(t.Table), column), id); err != nil {
				return err
			}
			row, _, err := db.One(ctx, fmt.Sprintf("SELECT count(*) FROM ohmkeep.%s WHERE %s = $1", quoted(t.Table), column), id)
			if err != nil {
				return err
			}
			t.Left = row.Int(0)
			total, left = total+t.Deleted, left+t.Left
		}
		_, err := db.Exec(ctx, `UPDATE ohmkeep.removal SET rows = $2, "left" = $3 WHERE site = $1`, id, total, left)
		return err
	})
	if err != nil {
		return nil, err
	}
	for _, t := range gone.Tables {
		if err := db.Script(ctx, "VACUUM ohmkeep."+quoted(t.Table)); err != nil {
			return gone, err
		}
	}
	return gone, nil
}

// quoted returns a name as SQL has it.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }
