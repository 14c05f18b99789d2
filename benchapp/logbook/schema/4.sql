-- The record. Rows are only ever added; a run's `ended` stays null until it ends. Every digest is the SHA-256 of the
-- row's own content (digest.py), so that a damaged row is found and named.
CREATE TABLE run (
    id INTEGER PRIMARY KEY AUTOINCREMENT,  -- never given twice: a run that is missing is seen
    uid TEXT NOT NULL UNIQUE,         -- the run's name in every digest, wherever it is copied to
    started TEXT NOT NULL,            -- UTC, ISO 8601
    owner_host TEXT NOT NULL,         -- the process that writes it: a run without an end whose owner is dead
    owner_pid INTEGER NOT NULL,       -- was interrupted
    owner_started TEXT NOT NULL,
    software TEXT NOT NULL,
    recipe TEXT NOT NULL,             -- TOML
    bench TEXT NOT NULL,              -- JSON: addresses, dialects, scenario
    head BLOB NOT NULL,               -- digest of all that stands above
    ended TEXT,
    reason TEXT,
    end_text TEXT,
    output_off INTEGER,
    readings INTEGER,                 -- how many there are, known at the end
    result TEXT,                      -- of runs before schema 2: JSON, as stated at the end; kept as it was
    tail BLOB,                        -- digest of the end
    digest BLOB,                      -- of head, tail and the digests of all rows of the run, in order
    statements INTEGER NOT NULL       -- how many have been made
);
CREATE TABLE statement (
    id INTEGER PRIMARY KEY,
    run_id INTEGER NOT NULL REFERENCES run(id),
    ordinal INTEGER NOT NULL,         -- 0 is the one made at the end of the run
    made TEXT NOT NULL,               -- UTC, ISO 8601
    body TEXT NOT NULL,               -- JSON
    digest BLOB NOT NULL,
    UNIQUE (run_id, ordinal)
);
CREATE TABLE comparison (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    made TEXT NOT NULL,               -- UTC, ISO 8601
    body TEXT NOT NULL,               -- JSON: runs in turns, ratio, the unknown's value
    digest BLOB NOT NULL
);
CREATE TABLE instrument (
    run_id INTEGER NOT NULL REFERENCES run(id), role TEXT NOT NULL, identity TEXT NOT NULL,
    digest BLOB NOT NULL,
    PRIMARY KEY (run_id, role)
);
CREATE TABLE setting (
    run_id INTEGER NOT NULL REFERENCES run(id), role TEXT NOT NULL, name TEXT NOT NULL,
    asked TEXT NOT NULL, read_back TEXT NOT NULL, verified INTEGER NOT NULL,
    digest BLOB NOT NULL,
    PRIMARY KEY (run_id, role, name)
);
CREATE TABLE readings (
    run_id INTEGER NOT NULL REFERENCES run(id),
    first INTEGER NOT NULL,           -- number of the first reading of the group, from 0
    count INTEGER NOT NULL,
    data BLOB NOT NULL,               -- count times time_s, current_A, voltage_V as little-endian doubles
    digest BLOB NOT NULL,
    PRIMARY KEY (run_id, first)
);
CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    run_id INTEGER NOT NULL REFERENCES run(id),
    ordinal INTEGER NOT NULL,         -- number of the event within its run, from 0
    time_s REAL NOT NULL,
    reading INTEGER NOT NULL,         -- number of the next reading: a pause stands before it
    kind TEXT NOT NULL, text TEXT NOT NULL,
    digest BLOB NOT NULL,
    UNIQUE (run_id, ordinal)
);
CREATE TABLE temperature (
    run_id INTEGER NOT NULL REFERENCES run(id),
    first INTEGER NOT NULL,           -- number of the first temperature of the group, from 0
    count INTEGER NOT NULL,
    data BLOB NOT NULL,               -- count times time_s, degrees Celsius as little-endian doubles
    digest BLOB NOT NULL,
    PRIMARY KEY (run_id, first)
);
