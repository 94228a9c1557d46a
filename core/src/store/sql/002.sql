-- Version 2: what comes back from the depot, and which photos it has.

CREATE TABLE pull (
    -- Where the depot's order was read to: one row.
    only_one INTEGER PRIMARY KEY CHECK (only_one = 1),
    cursor TEXT NOT NULL
) STRICT;

CREATE TABLE aside (
    -- What came and could not be taken into the record: kept, shown, never deleted.
    item INTEGER PRIMARY KEY,
    problem TEXT NOT NULL CHECK (problem IN ('same_id_other_text', 'unreadable')),
    entry_id TEXT,
    hash TEXT NOT NULL UNIQUE,
    came_ms INTEGER NOT NULL,
    doc TEXT NOT NULL
) STRICT;

CREATE TABLE photo_at_depot (
    -- Photos that the depot has acknowledged whole.
    photo TEXT PRIMARY KEY REFERENCES photo (hash),
    since_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
