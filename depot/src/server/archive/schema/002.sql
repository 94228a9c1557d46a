-- Version 2: people who sign in, their sessions, who saw and changed what, and when a device was heard last.

CREATE TABLE person (
    n          INTEGER PRIMARY KEY,
    name       TEXT NOT NULL,
    name_key   TEXT NOT NULL,                       -- the name in small letters: by it the person is found
    role       TEXT NOT NULL CHECK (role IN ('mechanic', 'office', 'owner')),
    password   TEXT NOT NULL,                       -- argon2id as a PHC string; the password itself is never stored
    language   TEXT NOT NULL CHECK (language IN ('en', 'es')),
    units      TEXT NOT NULL CHECK (units IN ('metric', 'inch')),
    added_ms   INTEGER NOT NULL,
    removed_ms INTEGER                              -- null while the person may sign in; kept, since the audit names the row
) STRICT;

-- A name may be used again once its earlier person was taken away.
CREATE UNIQUE INDEX person_name ON person (name_key) WHERE removed_ms IS NULL;

-- The pumps that a mechanic may read about. The other roles read of all.
CREATE TABLE person_pump (
    person INTEGER NOT NULL REFERENCES person (n),
    pump   TEXT NOT NULL,
    PRIMARY KEY (person, pump)
) STRICT, WITHOUT ROWID;

CREATE TABLE session (
    token_sha256 BLOB PRIMARY KEY CHECK (length(token_sha256) = 32), -- the cookie's value itself is never stored
    person       INTEGER NOT NULL REFERENCES person (n),
    begun_ms     INTEGER NOT NULL,
    seen_ms      INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE INDEX session_person ON session (person);

CREATE TABLE audit (
    n       INTEGER PRIMARY KEY AUTOINCREMENT,
    at_ms   INTEGER NOT NULL,
    by_kind TEXT NOT NULL CHECK (by_kind IN ('person', 'device', 'command', 'nobody')),
    by_n    INTEGER,                                -- row of person or device
    what    TEXT NOT NULL,                          -- a word of the program's own, for example pump_seen
    about   TEXT,                                   -- what it was done to: a pump's or a photo's name, or "person 3", "device 2"
    reached TEXT NOT NULL CHECK (reached IN ('this_machine', 'private', 'public', 'unknown')) -- kind of address, never the address
) STRICT;

CREATE INDEX audit_at ON audit (at_ms);

-- Only added to. A row may go once it is 400 days old, and nothing else may happen to it.
CREATE TRIGGER audit_stays BEFORE UPDATE ON audit
BEGIN
    SELECT raise(ABORT, 'the audit is only added to');
END;

CREATE TRIGGER audit_is_kept BEFORE DELETE ON audit WHEN old.at_ms > (CAST(strftime('%s', 'now') AS INTEGER) - 34560000) * 1000
BEGIN
    SELECT raise(ABORT, 'the audit is kept for 400 days');
END;

ALTER TABLE device ADD COLUMN heard_ms INTEGER;        -- when it asked last, to the minute
ALTER TABLE device ADD COLUMN first_use_by_ms INTEGER; -- a token that was not used by then is dead; null: no such limit
