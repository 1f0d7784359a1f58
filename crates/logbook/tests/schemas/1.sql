-- A logbook of version 1 as it was handed out, with a row in every table. Never edited: later versions must open it.
PRAGMA foreign_keys = OFF;
PRAGMA application_id = 1111837773;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
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
INSERT INTO "build" VALUES(1,'018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d02','018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d01',1000,'as bought','fuel',1.5);
CREATE TABLE correction (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    reading TEXT NOT NULL REFERENCES reading (id),
    turns REAL NOT NULL,
    reason TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT;
INSERT INTO "correction" VALUES(1,'018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d08','018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d05',1.625,'missed an eighth',8000);
CREATE TABLE fact (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    job TEXT NOT NULL REFERENCES job (id),
    name TEXT NOT NULL,
    value TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT;
INSERT INTO "fact" VALUES(1,'018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d04','018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d03','left_turns','2.125',9000);
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
INSERT INTO "job" VALUES('018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d03','018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d01','018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d02',2000,NULL,'stalls when warm',0,6);
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
INSERT INTO "machine" VALUES('018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d01','the 750 twin','twin-360','air',2,2,1000,0,NULL,1);
CREATE TABLE mark (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    in_use INTEGER NOT NULL CHECK (in_use IN (0, 1))
) STRICT;
INSERT INTO "mark" VALUES(1,0);
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
INSERT INTO "reading" VALUES(1,'018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d05','018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d03',1.5,'ran',1030.0,1.25,8.5,'microphone',3000,4000,8.0,1,1,'0.1.0',NULL);
INSERT INTO "reading" VALUES(2,'018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d06','018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d03',0.5,'stalled-lean',NULL,NULL,NULL,'tachometer',5000,6000,30.0,1,0,'0.1.0',NULL);
CREATE TABLE strike (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    reading TEXT NOT NULL REFERENCES reading (id),
    struck INTEGER NOT NULL CHECK (struck IN (0, 1)),
    reason TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT;
INSERT INTO "strike" VALUES(1,'018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d07','018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d06',1,'the fan came on',7000);
CREATE INDEX job_by_machine ON job (machine, opened_ms);
CREATE INDEX fact_by_job ON fact (job, name, seq);
CREATE INDEX reading_by_job ON reading (job, seq);
CREATE INDEX strike_by_reading ON strike (reading, seq);
CREATE INDEX correction_by_reading ON correction (reading, seq);
COMMIT;
