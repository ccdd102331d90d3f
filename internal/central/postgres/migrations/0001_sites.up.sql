-- The central database of a firm. Every key begins with the site, so that a distributed PostgreSQL
-- can spread the tables by it. Moments are ns since 1970-01-01 in UTC: a reading's date comes back
-- digit by digit.

CREATE TABLE ohmkeep.site (
    id      integer GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name    text NOT NULL UNIQUE,         -- as in the run file's key site
    label   text NOT NULL DEFAULT '',     -- how people call it
    place   text NOT NULL DEFAULT '',     -- where it is; visits are listed in its order
    role    text UNIQUE,                  -- the login that may append for the site; NULL = the owner alone
    repair  timestamptz                   -- until when it is being repaired
);

-- What was deleted, with its proof; no name of a customer is in it.
CREATE TABLE ohmkeep.removal (
    site    integer PRIMARY KEY,
    at      timestamptz NOT NULL DEFAULT now(),
    rows    bigint NOT NULL,
    "left"  bigint NOT NULL
);

CREATE TABLE ohmkeep.run (
    site      integer NOT NULL REFERENCES ohmkeep.site,
    name      text NOT NULL,
    arrived   bigint NOT NULL DEFAULT 0, -- readings before it have arrived
    heard     timestamptz,               -- when the site last sent something
    installer text NOT NULL DEFAULT '',
    assess    bigint,                    -- when its newest verdicts of assess were found
    drift     bigint,                    -- and those of drift
    elements  integer NOT NULL DEFAULT 0, -- that have one of these
    unproven  integer NOT NULL DEFAULT 0, -- of these, unproven ones
    PRIMARY KEY (site, name)
);

CREATE TABLE ohmkeep.run_file (
    site   integer NOT NULL REFERENCES ohmkeep.site,
    run    text NOT NULL,
    taken  timestamptz NOT NULL DEFAULT clock_timestamp(),
    text   text NOT NULL,
    PRIMARY KEY (site, run, taken)
);

-- What readings have in common. The number is a checksum of the other columns but position.
CREATE TABLE ohmkeep.series (
    site       integer NOT NULL REFERENCES ohmkeep.site,
    id         bigint NOT NULL,
    run        text NOT NULL,
    position   bigint NOT NULL, -- readings of a moment are in its order
    probe      text NOT NULL,
    step       text NOT NULL,
    quantity   text NOT NULL,
    place_from text NOT NULL,
    place_to   text NOT NULL,
    unit       text NOT NULL,
    meter      text NOT NULL,
    form       text NOT NULL,
    scale      text NOT NULL,
    PRIMARY KEY (site, id)
);
CREATE INDEX ON ohmkeep.series (site, run);

CREATE TABLE ohmkeep.reading (
    site     integer NOT NULL,
    series   bigint NOT NULL,
    at       bigint NOT NULL,
    revision integer NOT NULL,  -- of ohmkeep.revision; 0 = never changed
    nth      integer NOT NULL,  -- among the readings of a series and moment
    rank     integer NOT NULL,  -- order among the readings of a moment
    zone     integer NOT NULL,  -- s east of UTC, as written
    quality  smallint NOT NULL, -- marks; 0 = good
    value    text NOT NULL,     -- digit by digit as sent
    counts   bigint,            -- of a register
    PRIMARY KEY (site, series, at, revision, nth)
) PARTITION BY RANGE (at);

-- Changes of readings that had been sent: of the readings of the period, those of the newest
-- revision that covers them count.
CREATE TABLE ohmkeep.revision (
    site  integer NOT NULL REFERENCES ohmkeep.site,
    run   text NOT NULL,
    id    integer NOT NULL,
    first bigint NOT NULL,
    last  bigint NOT NULL,
    PRIMARY KEY (site, run, id)
);

-- The marks of the newest revision count.
CREATE TABLE ohmkeep.mark (
    site      integer NOT NULL REFERENCES ohmkeep.site,
    run       text NOT NULL,
    revision  integer NOT NULL,
    at        bigint NOT NULL,
    id        bigint NOT NULL,   -- a checksum of the columns that follow, and of how many like it came before
    zone      integer NOT NULL,
    kind      text NOT NULL,
    subject   text NOT NULL,
    text      text NOT NULL,
    withdrawn bigint,
    PRIMARY KEY (site, run, revision, at, id)
);

CREATE TABLE ohmkeep.verdict (
    site         integer NOT NULL REFERENCES ohmkeep.site,
    run          text NOT NULL,
    source       text NOT NULL,          -- assess or drift
    taken        bigint NOT NULL,
    kind         text NOT NULL,
    name         text NOT NULL,
    rail         text NOT NULL,
    made         text NOT NULL,          -- a joint's type, a reel's batch, a feed's conductor
    verdict      text NOT NULL,
    fails        boolean NOT NULL,
    ohms         double precision,
    low          double precision,
    high         double precision,
    limit_ohms   double precision,
    per_year     double precision,       -- Ω
    per_year_low double precision,
    per_year_high double precision,
    since        bigint,                 -- when it began to change
    reaches      bigint,                 -- when its limit is expected to be reached
    PRIMARY KEY (site, run, source, taken, kind, name, rail)
);
CREATE INDEX ON ohmkeep.verdict (site, run, source, taken) WHERE fails;
