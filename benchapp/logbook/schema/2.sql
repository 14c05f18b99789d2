-- The second schema: statements of their own. Files of it are still read.
CREATE TABLE run (
    id INTEGER PRIMARY KEY,
    started TEXT NOT NULL,            -- UTC, ISO 8601
    owner_host TEXT NOT NULL,         -- the process that writes it: a run without an end whose owner is dead
    owner_pid INTEGER NOT NULL,       -- was interrupted
    owner_started TEXT NOT NULL,
    software TEXT NOT NULL,
    recipe TEXT NOT NULL,             -- TOML
    bench TEXT NOT NULL,              -- JSON: addresses, dialects, scenario
    ended TEXT,
    reason TEXT,
    end_text TEXT,
    output_off INTEGER,
    result TEXT                       -- of runs before schema 2: JSON, as stated at the end; kept as it was
);
CREATE TABLE statement (
    id INTEGER PRIMARY KEY,
    run_id INTEGER NOT NULL REFERENCES run(id),
    made TEXT NOT NULL,               -- UTC, ISO 8601
    body TEXT NOT NULL                -- JSON; the first of a run is the one made at its end
);
CREATE INDEX statement_of_run ON statement(run_id);
CREATE TABLE comparison (
    id INTEGER PRIMARY KEY,
    made TEXT NOT NULL,               -- UTC, ISO 8601
    body TEXT NOT NULL                -- JSON: runs in turns, ratio, the unknown's value
);
CREATE TABLE instrument (
    run_id INTEGER NOT NULL REFERENCES run(id), role TEXT NOT NULL, identity TEXT NOT NULL,
    PRIMARY KEY (run_id, role)
);
CREATE TABLE setting (
    run_id INTEGER NOT NULL REFERENCES run(id), role TEXT NOT NULL, name TEXT NOT NULL,
    asked TEXT NOT NULL, read_back TEXT NOT NULL, verified INTEGER NOT NULL,
    PRIMARY KEY (run_id, role, name)
);
CREATE TABLE readings (
    run_id INTEGER NOT NULL REFERENCES run(id),
    first INTEGER NOT NULL,           -- number of the first reading of the group, from 0
    count INTEGER NOT NULL,
    data BLOB NOT NULL,               -- count times time_s, current_A, voltage_V as little-endian doubles
    PRIMARY KEY (run_id, first)
);
CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    run_id INTEGER NOT NULL REFERENCES run(id), time_s REAL NOT NULL,
    reading INTEGER NOT NULL,         -- number of the next reading: a pause stands before it
    kind TEXT NOT NULL, text TEXT NOT NULL
);
CREATE INDEX event_of_run ON event(run_id);
