//! History CSV.
