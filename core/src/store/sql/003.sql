-- Version 3: the newest entries of one pump without sorting all of them.

CREATE INDEX entry_by_pump_time ON entry (pump, hlc_ms, hlc_count, device);
