//! Helpers that the whole-tool tests share.
