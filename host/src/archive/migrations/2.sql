-- Version 2: sites, appliances, where a test was made, notes.

CREATE TABLE site (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE CHECK (length(name) > 0)
) STRICT;

CREATE TABLE appliance (
    id INTEGER PRIMARY KEY,
    site INTEGER NOT NULL REFERENCES site (id),
    name TEXT NOT NULL CHECK (length(name) > 0),
    UNIQUE (site, name),
    UNIQUE (site, id)
) STRICT;

CREATE TABLE placing (
    record INTEGER PRIMARY KEY REFERENCES record (id),
    site INTEGER NOT NULL REFERENCES site (id),
    appliance INTEGER,
    FOREIGN KEY (site, appliance) REFERENCES appliance (site, id)
) STRICT;

CREATE INDEX placing_site ON placing (site);

-- A note is what a person read off or saw. `readings` and `answers` are JSON objects with the
-- names that `slotwise note --help` lists.
CREATE TABLE note (
    id INTEGER PRIMARY KEY,
    site INTEGER NOT NULL REFERENCES site (id),
    appliance INTEGER,
    made_at INTEGER NOT NULL,
    readings TEXT NOT NULL CHECK (json_valid(readings)),
    answers TEXT NOT NULL CHECK (json_valid(answers)),
    remark TEXT NOT NULL,
    photos TEXT NOT NULL CHECK (json_valid(photos)),
    FOREIGN KEY (site, appliance) REFERENCES appliance (site, id)
) STRICT;

CREATE INDEX note_site ON note (site, made_at);
