//! The gates a photo must pass.
