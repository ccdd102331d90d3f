package publish

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"time"

	_ "modernc.org/sqlite" // the driver named "sqlite"

	"ohmkeep/internal/instrument/mqtt"
)

// Queue holds messages on disk, in their order, until the broker has acknowledged them. It is an SQLite
// file, which survives that the program is killed; a power cut may take the messages of its last
// moments, which the program would send again with newer values. Beyond its limit the oldest messages are
// dropped and counted. Its methods may be called from any goroutine.
type Queue struct {
	db    *sql.DB
	limit int
}

// queued is a message and its place in the queue.
type queued struct {
	id int64
	mqtt.Retained
}

const queueSchema = `
CREATE TABLE IF NOT EXISTS message (id INTEGER PRIMARY KEY AUTOINCREMENT, topic TEXT NOT NULL, payload TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS counted (what TEXT PRIMARY KEY, n INTEGER NOT NULL) WITHOUT ROWID;
`

// OpenQueue opens the file of a queue, or makes it.
func OpenQueue(path string, limit int) (*Queue, error) {
	settings := url.Values{"_pragma": {"journal_mode(WAL)", "synchronous(NORMAL)", "busy_timeout(1000)", "wal_autocheckpoint(256)"}, "_txlock": {"immediate"}}
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?"+settings.Encode())
	if err == nil {
		db.SetMaxOpenConns(1)
		_, err = db.Exec(queueSchema)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: the queue for the broker cannot be used: %w", path, err)
	}
	return &Queue{db, limit}, nil
}

func (q *Queue) Close() error { return q.db.Close() }

// Add appends messages, all or none, and drops the oldest beyond the limit.
func (q *Queue) Add(ctx context.Context, messages []mqtt.Retained) (err error) {
	if len(messages) == 0 {
		return nil
	}
	tx, err := q.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, tx.Rollback())
		}
	}()
	for _, m := range messages {
		if _, err := tx.ExecContext(ctx, "INSERT INTO message (topic, payload) VALUES (?, ?)", m.Topic, m.Payload); err != nil {
			return err
		}
	}
	dropped, err := tx.ExecContext(ctx, "DELETE FROM message WHERE id <= (SELECT id FROM message ORDER BY id DESC LIMIT 1 OFFSET ?)", q.limit)
	if err != nil {
		return err
	}
	if n, err := dropped.RowsAffected(); err != nil {
		return err
	} else if n > 0 {
		if _, err := tx.ExecContext(ctx, "INSERT INTO counted VALUES ('dropped', ?) ON CONFLICT DO UPDATE SET n = n + excluded.n", n); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// first returns the oldest messages.
func (q *Queue) first(ctx context.Context, most int) (messages []queued, err error) {
	rows, err := q.db.QueryContext(ctx, "SELECT id, topic, payload FROM message ORDER BY id LIMIT ?", most)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var m queued
		if err := rows.Scan(&m.id, &m.Topic, &m.Payload); err != nil {
			return nil, err
		}
		messages = append(messages, m)
	}
	return messages, rows.Err()
}

// remove removes the messages up to one.
func (q *Queue) remove(ctx context.Context, id int64) error {
	_, err := q.db.ExecContext(ctx, "DELETE FROM message WHERE id <= ?", id)
	return err
}

// Counts returns how many messages wait, and how many were dropped since the file was made.
func (q *Queue) Counts(ctx context.Context) (waiting, dropped int64, err error) {
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	err = q.db.QueryRowContext(ctx, "SELECT (SELECT count(*) FROM message), coalesce((SELECT n FROM counted WHERE what = 'dropped'), 0)").Scan(&waiting, &dropped)
	return waiting, dropped, err
}
