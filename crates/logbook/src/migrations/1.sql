-- Version 1. Never edit a migration that has been handed out: add the next one.
-- Keys are UUID text; times are UTC milliseconds; `seq` is the order in which rows came.

CREATE TABLE mark (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    in_use INTEGER NOT NULL CHECK (in_use IN (0, 1))
) STRICT;
INSERT INTO mark (one, in_use) VALUES (1, 0);

CREATE TABLE machine (
    id TEXT PRIMARY KEY NOT NULL,
    name TEXT NOT NULL,
    layout TEXT NOT NULL,
    cooling TEXT NOT NULL CHECK (cooling IN ('not-said', 'air', 'liquid')),
    carburettors INTEGER NOT NULL,
    cylinders INTEGER,
    created_ms INTEGER NOT NULL,
    demo INTEGER NOT NULL CHECK (demo IN (0, 1)),
    deleted_ms INTEGER,
    revision INTEGER NOT NULL
) STRICT;

CREATE TABLE build (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    machine TEXT NOT NULL REFERENCES machine (id),
    at_ms INTEGER NOT NULL,
    note TEXT NOT NULL,
    screw TEXT NOT NULL CHECK (screw IN ('not-said', 'fuel', 'air', 'other')),
    base_turns REAL,
    UNIQUE (machine, id)
) STRICT;

CREATE TABLE job (
    id TEXT PRIMARY KEY NOT NULL,
    machine TEXT NOT NULL REFERENCES machine (id),
    build TEXT NOT NULL,
    opened_ms INTEGER NOT NULL,
    closed_ms INTEGER,
    complaint TEXT NOT NULL,
    demo INTEGER NOT NULL CHECK (demo IN (0, 1)),
    revision INTEGER NOT NULL,
    FOREIGN KEY (machine, build) REFERENCES build (machine, id)
) STRICT;
CREATE INDEX job_by_machine ON job (machine, opened_ms);

CREATE TABLE fact (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    job TEXT NOT NULL REFERENCES job (id),
    name TEXT NOT NULL,
    value TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX fact_by_job ON fact (job, name, seq);

CREATE TABLE reading (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    job TEXT NOT NULL REFERENCES job (id),
    turns REAL NOT NULL,
    outcome TEXT NOT NULL
        CHECK (outcome IN ('ran', 'stalled-lean', 'stalled-rich', 'stalled-out-of-fuel', 'stalled-unknown')),
    rpm REAL CHECK ((outcome = 'ran') = (rpm IS NOT NULL)),
    se_rpm REAL,
    spread_rpm REAL,
    source TEXT NOT NULL CHECK (source IN ('microphone', 'recording', 'tachometer')),
    started_ms INTEGER NOT NULL,
    ended_ms INTEGER NOT NULL,
    at_s REAL NOT NULL,
    block INTEGER NOT NULL,
    as_found INTEGER NOT NULL CHECK (as_found IN (0, 1)),
    engine_version TEXT NOT NULL,
    clip TEXT
) STRICT;
CREATE INDEX reading_by_job ON reading (job, seq);

-- What was said about a reading later; the newest row of a reading counts, the reading itself stays.
CREATE TABLE strike (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    reading TEXT NOT NULL REFERENCES reading (id),
    struck INTEGER NOT NULL CHECK (struck IN (0, 1)),
    reason TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX strike_by_reading ON strike (reading, seq);

CREATE TABLE correction (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    reading TEXT NOT NULL REFERENCES reading (id),
    turns REAL NOT NULL,
    reason TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX correction_by_reading ON correction (reading, seq);
