-- Version 1: testers, files, records as pulled, decoded columns.

CREATE TABLE tester (
    id INTEGER PRIMARY KEY,
    serial TEXT NOT NULL UNIQUE CHECK (length(serial) = 16)
) STRICT;

-- Where records came from: a file, or the port of a pull.
CREATE TABLE source (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    imported_at INTEGER NOT NULL,
    damages INTEGER NOT NULL
) STRICT;

-- `bytes` is what the tester kept and what its chain is over. `sha256` is its digest on the day
-- it came in; `previous` is the digest that the record carries of the one before.
CREATE TABLE record (
    id INTEGER PRIMARY KEY,
    tester INTEGER NOT NULL REFERENCES tester (id),
    number INTEGER NOT NULL CHECK (number BETWEEN 0 AND 4294967295),
    source INTEGER NOT NULL REFERENCES source (id),
    sha256 BLOB NOT NULL CHECK (length(sha256) = 32),
    previous BLOB CHECK (length(previous) = 32),
    kind TEXT NOT NULL,
    unread TEXT,
    boot INTEGER,
    millis INTEGER,
    clock INTEGER,
    firmware TEXT,
    bytes BLOB NOT NULL,
    UNIQUE (tester, number),
    CHECK ((kind = 'unread') = (unread IS NOT NULL))
) STRICT;

-- The same number of the same tester with other bytes: kept beside, never instead.
CREATE TABLE conflict (
    id INTEGER PRIMARY KEY,
    tester INTEGER NOT NULL REFERENCES tester (id),
    number INTEGER NOT NULL,
    source INTEGER NOT NULL REFERENCES source (id),
    sha256 BLOB NOT NULL CHECK (length(sha256) = 32),
    bytes BLOB NOT NULL,
    UNIQUE (tester, number, sha256)
) STRICT;

-- One row a test. A value that is missing is NULL and says why.
CREATE TABLE test (
    record INTEGER PRIMARY KEY REFERENCES record (id),
    outcome TEXT NOT NULL,
    finding TEXT,
    clip TEXT NOT NULL,
    windows INTEGER NOT NULL,
    calibrated INTEGER NOT NULL CHECK (calibrated IN (0, 1)),
    narrow_wide REAL, narrow_wide_u REAL, narrow_wide_missing TEXT,
    ground_wide REAL, ground_wide_u REAL, ground_wide_missing TEXT,
    narrow_ground REAL, narrow_ground_u REAL, narrow_ground_missing TEXT,
    clip_wide REAL, clip_wide_u REAL, clip_wide_missing TEXT,
    frequency REAL, frequency_u REAL, frequency_missing TEXT,
    earth_path REAL, earth_path_u REAL, earth_path_missing TEXT,
    hot_and_ground REAL, hot_and_ground_u REAL, hot_and_ground_missing TEXT,
    neutral_and_ground REAL, neutral_and_ground_u REAL, neutral_and_ground_missing TEXT,
    neutral_to_clip REAL, neutral_to_clip_u REAL, neutral_to_clip_missing TEXT,
    load_step_rho REAL, load_step_rho_u REAL, load_step_rho_missing TEXT,
    watch_neutral_drop REAL, watch_neutral_drop_u REAL, watch_neutral_drop_missing TEXT,
    watch_frame_shift REAL, watch_frame_shift_u REAL, watch_frame_shift_missing TEXT,
    watch_idle REAL, watch_idle_u REAL, watch_idle_missing TEXT,
    watch_highest REAL, watch_highest_u REAL, watch_highest_missing TEXT,
    CHECK ((narrow_wide IS NULL) = (narrow_wide_missing IS NOT NULL)),
    CHECK ((ground_wide IS NULL) = (ground_wide_missing IS NOT NULL)),
    CHECK ((narrow_ground IS NULL) = (narrow_ground_missing IS NOT NULL)),
    CHECK ((clip_wide IS NULL) = (clip_wide_missing IS NOT NULL)),
    CHECK ((frequency IS NULL) = (frequency_missing IS NOT NULL)),
    CHECK ((earth_path IS NULL) = (earth_path_missing IS NOT NULL)),
    CHECK ((hot_and_ground IS NULL) = (hot_and_ground_missing IS NOT NULL)),
    CHECK ((neutral_and_ground IS NULL) = (neutral_and_ground_missing IS NOT NULL)),
    CHECK ((neutral_to_clip IS NULL) = (neutral_to_clip_missing IS NOT NULL)),
    CHECK ((load_step_rho IS NULL) = (load_step_rho_missing IS NOT NULL)),
    CHECK ((watch_neutral_drop IS NULL) = (watch_neutral_drop_missing IS NOT NULL)),
    CHECK ((watch_frame_shift IS NULL) = (watch_frame_shift_missing IS NOT NULL)),
    CHECK ((watch_idle IS NULL) = (watch_idle_missing IS NOT NULL)),
    CHECK ((watch_highest IS NULL) = (watch_highest_missing IS NOT NULL))
) STRICT;

CREATE INDEX record_clock ON record (clock) WHERE kind = 'test';
CREATE INDEX test_outcome ON test (outcome);
CREATE INDEX record_unread ON record (id) WHERE kind = 'unread';
