-- Version 5: photos that are put away by rule. Their rows stay: the record goes on naming them.
ALTER TABLE photo ADD COLUMN put_away_ms INTEGER; -- null while it is here
ALTER TABLE photo ADD COLUMN removed_ms INTEGER;  -- when its file went, a day later at the earliest
CREATE INDEX photo_stored ON photo (stored_ms) WHERE put_away_ms IS NULL;
CREATE INDEX photo_going ON photo (put_away_ms) WHERE put_away_ms IS NOT NULL AND removed_ms IS NULL;
