-- Version 4: codes that let a device in once, with a token of its own making.
ALTER TABLE device ADD COLUMN code_sha256 BLOB CHECK (length(code_sha256) = 32); -- null where its token was given to it
ALTER TABLE device ADD COLUMN code_used_ms INTEGER;                              -- null while the code is good
ALTER TABLE device ADD COLUMN code_tried_ms INTEGER;                             -- when another device showed the code too, the first time
CREATE UNIQUE INDEX device_code ON device (code_sha256) WHERE code_sha256 IS NOT NULL;
