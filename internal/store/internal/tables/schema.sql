-- The tables of a store. Numbers of runs, series and boots are never used again
-- (AUTOINCREMENT): what refers to a lost one must not find another in its place.

CREATE TABLE run (
    id   INTEGER PRIMARY KEY AUTOINCREMENT,
    name TEXT NOT NULL UNIQUE
) STRICT;

-- Where readings of a run came from: a file that was imported, or a probe.
CREATE TABLE source (
    id   INTEGER PRIMARY KEY,
    run  INTEGER NOT NULL REFERENCES run,
    name TEXT NOT NULL,
    UNIQUE (run, name)
) STRICT;

-- All that readings of one place, in one step, by one meter and written in one
-- form have in common.
CREATE TABLE series (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    run        INTEGER NOT NULL REFERENCES run,
    probe      TEXT NOT NULL, -- '' = imported or taken by hand
    step       TEXT NOT NULL,
    quantity   TEXT NOT NULL,
    place_from TEXT NOT NULL,
    place_to   TEXT NOT NULL,
    unit       TEXT NOT NULL,
    meter      TEXT NOT NULL,
    form       TEXT NOT NULL, -- the text of count 0; 'text' = kept as written, no counts
    scale      TEXT NOT NULL, -- what one count stands for, in the unit; '' = as the form says
    corrected  TEXT,          -- the scale that is right instead
    UNIQUE (run, quantity, place_from, place_to, step, unit, meter, form, scale, probe)
) STRICT;

-- When readings were taken: a block that several chunks may share.
CREATE TABLE moments (
    id    INTEGER PRIMARY KEY,
    block BLOB NOT NULL
) STRICT;

-- Up to 4096 readings of a series. Chunks of a series do not overlap.
CREATE TABLE chunk (
    id       INTEGER PRIMARY KEY,
    series   INTEGER NOT NULL REFERENCES series,
    first    INTEGER NOT NULL, -- ns since 1970-01-01 in UTC
    last     INTEGER NOT NULL,
    n        INTEGER NOT NULL,
    measured INTEGER NOT NULL, -- how many of them are measured values
    lowest   INTEGER,          -- the counts of those; NULL where the series has no counts
    highest  INTEGER,
    sum      INTEGER,
    moments  INTEGER NOT NULL,
    block    BLOB NOT NULL,
    name     TEXT -- now and then what its series is: a JSON array of run and its name, probe to scale
) STRICT;
CREATE INDEX chunk_series ON chunk (series, first, id, last, n, measured, lowest, highest, sum);
CREATE INDEX chunk_moments ON chunk (moments);

-- How many readings a series holds in chunks.
CREATE TABLE held (
    series   INTEGER PRIMARY KEY,
    readings INTEGER NOT NULL
) STRICT;

-- Commits that are not in chunks yet, in the order of their arrival.
CREATE TABLE tail (
    id       INTEGER PRIMARY KEY,
    readings INTEGER NOT NULL,
    block    BLOB NOT NULL,
    names    TEXT -- what series are that no commit before has named: as in a chunk, each after its number
) STRICT;

-- What is left of readings that were let go: a row for each hour of a series.
CREATE TABLE hourly (
    series   INTEGER NOT NULL REFERENCES series,
    hour     INTEGER NOT NULL, -- hours since 1970-01-01 in UTC
    n        INTEGER NOT NULL,
    lowest   REAL NOT NULL,    -- SI; °C for temperatures
    mean     REAL NOT NULL,
    highest  REAL NOT NULL,
    PRIMARY KEY (series, hour)
) STRICT, WITHOUT ROWID;

-- Starts of the machine.
CREATE TABLE boot (
    id    INTEGER PRIMARY KEY AUTOINCREMENT,
    name  TEXT NOT NULL,
    first INTEGER NOT NULL -- ns, by the clock of then
) STRICT;

-- What happened: notes of people, gaps, restarts of probes.
CREATE TABLE mark (
    id        INTEGER PRIMARY KEY,
    run       INTEGER NOT NULL REFERENCES run,
    at        INTEGER NOT NULL, -- ns
    zone      INTEGER NOT NULL, -- s east of UTC
    kind      TEXT NOT NULL,
    subject   TEXT NOT NULL,
    text      TEXT NOT NULL,
    withdrawn INTEGER -- ns, when the mark was said not to hold; NULL = it holds
) STRICT;
CREATE INDEX mark_at ON mark (run, at);

-- What analyses keep for themselves.
CREATE TABLE state (
    id      INTEGER PRIMARY KEY,
    run     INTEGER NOT NULL REFERENCES run,
    name    TEXT NOT NULL,
    version INTEGER NOT NULL,
    block   BLOB NOT NULL,
    UNIQUE (run, name)
) STRICT;
