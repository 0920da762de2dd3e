-- Version 1, the same tables as the SQLite archive of version 3. Everything stands in a schema of its
-- own, so that the database may hold other things.
--
-- Seconds and milliseconds are unsigned in a record and kept by their 64 bits.

CREATE TABLE tester (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    serial TEXT NOT NULL UNIQUE CHECK (length(serial) = 16)
);

-- Where records came from: a file, or the port of a pull.
CREATE TABLE source (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name TEXT NOT NULL,
    imported_at BIGINT NOT NULL,
    damages BIGINT NOT NULL
);

-- `bytes` is what the tester kept and what its chain is over. `sha256` is its digest on the day
-- it came in; `previous` is the digest that the record carries of the one before.
CREATE TABLE record (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    tester BIGINT NOT NULL REFERENCES tester (id),
    number BIGINT NOT NULL CHECK (number BETWEEN 0 AND 4294967295),
    source BIGINT NOT NULL REFERENCES source (id),
    sha256 BYTEA NOT NULL CHECK (length(sha256) = 32),
    previous BYTEA CHECK (length(previous) = 32),
    kind TEXT NOT NULL,
    unread TEXT,
    boot BIGINT,
    millis BIGINT,
    clock BIGINT,
    firmware TEXT,
    bytes BYTEA NOT NULL,
    UNIQUE (tester, number),
    CHECK ((kind = 'unread') = (unread IS NOT NULL))
);

-- The same number of the same tester with other bytes: kept beside, never instead.
CREATE TABLE conflict (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    tester BIGINT NOT NULL REFERENCES tester (id),
    number BIGINT NOT NULL,
    source BIGINT NOT NULL REFERENCES source (id),
    sha256 BYTEA NOT NULL CHECK (length(sha256) = 32),
    bytes BYTEA NOT NULL,
    UNIQUE (tester, number, sha256)
);

-- One row a test. A value that is missing is NULL and says why. The program puts in three columns a
-- quantity: the value, its standard uncertainty, why it is missing.
CREATE TABLE test (
    record BIGINT PRIMARY KEY REFERENCES record (id),
    outcome TEXT NOT NULL,
    finding TEXT,
    clip TEXT NOT NULL,
    windows BIGINT NOT NULL,
    calibrated BOOLEAN NOT NULL,
    {quantities}
);

CREATE INDEX record_clock ON record (clock) WHERE kind = 'test';
CREATE INDEX test_outcome ON test (outcome);
CREATE INDEX record_unread ON record (id) WHERE kind = 'unread';
CREATE INDEX record_calibrated ON record (tester, number) WHERE kind = 'calibrated';

CREATE TABLE site (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name TEXT NOT NULL UNIQUE CHECK (length(name) > 0),
    -- The order of a person, byte by byte.
    sort BYTEA NOT NULL
);

CREATE INDEX site_sort ON site (sort, name);

CREATE TABLE appliance (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    site BIGINT NOT NULL REFERENCES site (id),
    name TEXT NOT NULL CHECK (length(name) > 0),
    UNIQUE (site, name),
    UNIQUE (site, id)
);

-- `placing` is a word of the language here.
CREATE TABLE placed (
    record BIGINT PRIMARY KEY REFERENCES record (id),
    site BIGINT NOT NULL REFERENCES site (id),
    appliance BIGINT,
    FOREIGN KEY (site, appliance) REFERENCES appliance (site, id)
);

CREATE INDEX placed_site ON placed (site);

-- A note is what a person read off or saw. `readings` and `answers` are JSON objects with the
-- names that `slotwise note --help` lists. Kept as the text that was written.
CREATE TABLE note (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    site BIGINT NOT NULL REFERENCES site (id),
    appliance BIGINT,
    made_at BIGINT NOT NULL,
    readings TEXT NOT NULL,
    answers TEXT NOT NULL,
    remark TEXT NOT NULL,
    photos TEXT NOT NULL,
    FOREIGN KEY (site, appliance) REFERENCES appliance (site, id)
);

CREATE INDEX note_site ON note (site, made_at);
