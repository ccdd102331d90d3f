-- The tables of a store that has been shipped. They are made when it is first shipped.

-- By which name other databases tell the store from others. A copy of the file has the same one.
CREATE TABLE IF NOT EXISTS identity (
    id   INTEGER PRIMARY KEY CHECK (id = 1),
    name TEXT NOT NULL, -- 32 random hexadecimal digits
    made TEXT NOT NULL  -- when, RFC 3339
) STRICT;

-- Changes of readings that had been stored: withdrawn, moved in time, corrected. Readings of the
-- period are sent again under the number of the newest revision that covers them.
CREATE TABLE IF NOT EXISTS revision (
    id    INTEGER PRIMARY KEY, -- s since 2020-01-01 in UTC, or one more than the one before
    run   INTEGER NOT NULL REFERENCES run,
    first INTEGER NOT NULL,    -- ns since 1970; after last = of marks alone
    last  INTEGER NOT NULL
) STRICT;

-- What of a run has arrived at a destination.
CREATE TABLE IF NOT EXISTS delivery (
    destination TEXT NOT NULL,
    run         INTEGER NOT NULL REFERENCES run,
    arrived     INTEGER NOT NULL, -- ns; readings before it have arrived
    claimed     INTEGER NOT NULL, -- ns; readings added before it are noted in late
    late        INTEGER NOT NULL, -- ns; the earliest reading that was added before claimed
    marks       INTEGER NOT NULL, -- highest number of a mark that has arrived
    revision    INTEGER NOT NULL, -- newest revision that has arrived
    turn        INTEGER NOT NULL, -- how often sending has begun
    PRIMARY KEY (destination, run)
) STRICT;

-- The newest turn whose readings have arrived at a destination. One that says that it has had fewer
-- was restored from a backup.
CREATE TABLE IF NOT EXISTS confirmed (
    destination TEXT NOT NULL,
    run         INTEGER NOT NULL REFERENCES run,
    turn        INTEGER NOT NULL,
    PRIMARY KEY (destination, run)
) STRICT;
