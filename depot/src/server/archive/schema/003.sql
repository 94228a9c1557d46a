-- A pump's entries of one kind, newest first, without looking at the others: who set it last, a search for a kind.
CREATE INDEX entry_kind ON entry (pump, kind, hlc_ms, hlc_count);

ALTER TABLE entry ADD COLUMN amends TEXT; -- the entry that an amendment speaks of; null for other kinds and where it names none
UPDATE entry SET amends = json_extract(doc, '$.body.amends') WHERE kind = 'amended' AND json_valid(doc);
CREATE INDEX entry_amends ON entry (pump, amends) WHERE amends IS NOT NULL;
