-- Version 1 of the depot's archive. A published step is never edited: what changes is a step of its own after it.

CREATE TABLE device (
    n            INTEGER PRIMARY KEY,
    name         TEXT NOT NULL,
    token_sha256 BLOB NOT NULL UNIQUE CHECK (length(token_sha256) = 32), -- the token itself is never stored
    enrolled_ms  INTEGER NOT NULL,
    revoked_ms   INTEGER                                                -- null while the token is good
) STRICT;

-- A name may be used again once its earlier token was taken away.
CREATE UNIQUE INDEX device_name ON device (name) WHERE revoked_ms IS NULL;

CREATE TABLE entry (
    n            INTEGER PRIMARY KEY AUTOINCREMENT, -- the depot's total order; given inside the one write transaction
    id           TEXT NOT NULL UNIQUE,
    hash         BLOB NOT NULL CHECK (length(hash) = 32),
    device       TEXT NOT NULL,                     -- who wrote it, as the entry says
    seq          INTEGER NOT NULL,
    pump         TEXT NOT NULL,
    kind         TEXT NOT NULL,
    hlc_ms       INTEGER NOT NULL,
    hlc_count    INTEGER NOT NULL,
    doc          TEXT NOT NULL,                     -- the sealed text, verbatim
    delivered_by INTEGER NOT NULL REFERENCES device (n), -- who brought it: entries may be relayed
    received_ms  INTEGER NOT NULL
) STRICT;

CREATE INDEX entry_pump ON entry (pump, hlc_ms, hlc_count);
CREATE INDEX entry_chain ON entry (device, seq);
CREATE INDEX entry_delivered_by ON entry (delivered_by);

CREATE TABLE photo (
    sha256    TEXT PRIMARY KEY CHECK (length(sha256) = 64),
    bytes     INTEGER NOT NULL,
    kind      TEXT NOT NULL CHECK (kind IN ('jpg', 'png', 'bin')),
    stored_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE upload (
    id         TEXT PRIMARY KEY,                    -- chosen by the client, or by the depot where it chose none
    sha256     TEXT,                                -- as declared; as computed once complete
    declared   INTEGER NOT NULL,                    -- 1 where the client declared it
    metadata   TEXT NOT NULL,                       -- Upload-Metadata as it came: HEAD gives it back
    length     INTEGER NOT NULL,
    offset     INTEGER NOT NULL,                    -- durable bytes: written after the staging file is synced
    state      TEXT NOT NULL CHECK (state IN ('open', 'stored', 'gone')),
    device     INTEGER NOT NULL REFERENCES device (n),
    created_ms INTEGER NOT NULL,
    expires_ms INTEGER NOT NULL
) STRICT;

CREATE INDEX upload_device ON upload (device);
CREATE INDEX upload_expires ON upload (expires_ms);

-- What the depot remembers about itself, for example the address it last answered at.
CREATE TABLE fact (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT;
