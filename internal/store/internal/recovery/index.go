package recovery

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"ohmkeep/internal/store/internal/tables"
)

// indexed are the tables whose rows, but for what may be NULL, stand in the index of
// their unique key too: names without which readings belong to nobody.
var indexed = []struct{ table, first, columns string }{
	{"run", "name >= ''", "id, name"},
	{"series", "run >= 0", "id, run, probe, step, quantity, place_from, place_to, unit, meter, form, scale"},
}

// fromIndexes copies what the tables have lost and their indexes still hold.
func fromIndexes(ctx context.Context, from, to *sql.Tx) error {
	for _, t := range indexed {
		var index string
		err := from.QueryRowContext(ctx, "SELECT name FROM sqlite_schema WHERE type = 'index' AND tbl_name = ? AND sql IS NULL", t.table).Scan(&index)
		if tables.Broken(err) || errors.Is(err, sql.ErrNoRows) {
			continue
		} else if err != nil {
			return err
		}
		query := fmt.Sprintf("SELECT %s FROM %s INDEXED BY %s WHERE %s", t.columns, t.table, index, t.first)
		if _, err := rows(ctx, from, query, nil, func(columns []string, row []any) error {
			_, err := to.ExecContext(ctx, inserting(t.table, columns), row...)
			return err
		}); err != nil && !tables.Broken(err) {
			return err
		}
	}
	return nil
}
