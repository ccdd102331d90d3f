-- Readings as they were written, one row each.

CREATE TABLE run (
    id   INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;

-- Where readings of a run came from: a file that was imported, or a probe.
CREATE TABLE source (
    id   INTEGER PRIMARY KEY,
    run  INTEGER NOT NULL REFERENCES run,
    name TEXT NOT NULL,
    UNIQUE (run, name)
) STRICT;

-- All that readings of one place, in one step, by one meter have in common.
CREATE TABLE series (
    id         INTEGER PRIMARY KEY,
    run        INTEGER NOT NULL REFERENCES run,
    step       TEXT NOT NULL,
    quantity   TEXT NOT NULL,
    place_from TEXT NOT NULL,
    place_to   TEXT NOT NULL,
    unit       TEXT NOT NULL,
    meter      TEXT NOT NULL,
    UNIQUE (run, step, quantity, place_from, place_to, unit, meter)
) STRICT;

-- The unique key begins with the time: readings arrive in the order of time, so
-- a commit touches the last pages of the index and not one page for each place.
CREATE TABLE reading (
    id     INTEGER PRIMARY KEY, -- the order of arrival
    run    INTEGER NOT NULL REFERENCES run,
    at     INTEGER NOT NULL,    -- ns since 1970-01-01 in UTC
    series INTEGER NOT NULL REFERENCES series,
    text   TEXT NOT NULL,       -- the number as written, in the unit of the series
    zone   INTEGER NOT NULL,    -- seconds east of UTC, as written
    source INTEGER NOT NULL REFERENCES source,
    UNIQUE (run, at, series, text)
) STRICT;
