-- The whole schema as it stands now: what a new book is made with. Equal to the steps taken one by one (tested).

CREATE TABLE device (
    -- This device: one row. Its chain's tip stands here too, so that a lost last entry shows.
    only_one INTEGER PRIMARY KEY CHECK (only_one = 1),
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    last_seq INTEGER NOT NULL CHECK (last_seq >= 0),
    last_hash TEXT,
    -- The hybrid clock's last value: it never goes back, whatever the wall clock does.
    hlc_ms INTEGER NOT NULL,
    hlc_count INTEGER NOT NULL
) STRICT;

CREATE TABLE entry (
    -- Order of arrival in this book; the record's own order is (hlc_ms, hlc_count, device).
    arrival INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    device TEXT NOT NULL,
    seq INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    hlc_ms INTEGER NOT NULL,
    hlc_count INTEGER NOT NULL,
    pump TEXT NOT NULL,
    kind TEXT NOT NULL,
    amends TEXT,
    hash TEXT NOT NULL,
    -- The exact JSON as first written; every other column is a copy of a part of it.
    doc TEXT NOT NULL
) STRICT;
-- Not unique: a device restored from an old copy may number twice, and both must be kept.
CREATE INDEX entry_by_device ON entry (device, seq);
CREATE INDEX entry_by_pump ON entry (pump, kind, hlc_ms, hlc_count);
CREATE INDEX entry_by_pump_time ON entry (pump, hlc_ms, hlc_count, device);
CREATE INDEX entry_by_time ON entry (hlc_ms, hlc_count, device);
CREATE INDEX entry_by_amends ON entry (amends) WHERE amends IS NOT NULL;

CREATE TRIGGER entry_is_never_changed BEFORE UPDATE ON entry
BEGIN
    SELECT raise(ABORT, 'entries are append-only');
END;
CREATE TRIGGER entry_is_never_deleted BEFORE DELETE ON entry
BEGIN
    SELECT raise(ABORT, 'entries are append-only');
END;

CREATE TABLE photo (
    -- A row only ever stands for a file that was made durable before it.
    hash TEXT PRIMARY KEY,
    format TEXT NOT NULL CHECK (format IN ('jpg', 'png')),
    bytes INTEGER NOT NULL,
    added_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE entry_photo (
    entry INTEGER NOT NULL REFERENCES entry (arrival),
    place INTEGER NOT NULL,
    -- No reference: an entry of another device may name a photo that is not here.
    photo TEXT NOT NULL,
    PRIMARY KEY (entry, place)
) STRICT, WITHOUT ROWID;
CREATE INDEX entry_photo_by_photo ON entry_photo (photo);

CREATE TABLE pump (
    -- What the entries say about each pump now: the last writer by hybrid time.
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    spec TEXT NOT NULL,
    hlc_ms INTEGER NOT NULL,
    hlc_count INTEGER NOT NULL,
    entry INTEGER NOT NULL REFERENCES entry (arrival)
) STRICT, WITHOUT ROWID;
CREATE INDEX pump_by_entry ON pump (entry);
CREATE INDEX pump_by_name ON pump (name COLLATE NOCASE);

CREATE TABLE outbox (
    -- One row for each thing that the depot has not acknowledged. "Being sent" is never stored.
    item INTEGER PRIMARY KEY AUTOINCREMENT,
    entry INTEGER REFERENCES entry (arrival),
    photo TEXT REFERENCES photo (hash),
    -- Made here; names a photo's upload at the depot, so that a repeated create finds the first.
    upload_id TEXT,
    state TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'parked', 'dropped')),
    created_ms INTEGER NOT NULL,
    attempts INTEGER NOT NULL DEFAULT 0,
    -- Answers in a row that brought the item no further.
    redos INTEGER NOT NULL DEFAULT 0,
    -- Where the depot put the upload, and how much of it the depot is known to have (null: ask).
    upload_path TEXT,
    sent_bytes INTEGER,
    code TEXT,
    reason TEXT,
    advice TEXT,
    CHECK ((entry IS NULL) <> (photo IS NULL)),
    CHECK ((photo IS NULL) = (upload_id IS NULL))
) STRICT;
CREATE UNIQUE INDEX outbox_by_entry ON outbox (entry) WHERE entry IS NOT NULL;
CREATE UNIQUE INDEX outbox_by_photo ON outbox (photo) WHERE photo IS NOT NULL;

CREATE TABLE pause (
    -- The queue's back-off: one row. Before since_ms the clock was set back: then it no longer counts.
    only_one INTEGER PRIMARY KEY CHECK (only_one = 1),
    failures INTEGER NOT NULL,
    since_ms INTEGER NOT NULL,
    until_ms INTEGER NOT NULL,
    code TEXT NOT NULL,
    reason TEXT NOT NULL
) STRICT;

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
