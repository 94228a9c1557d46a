//! Pump arithmetic.
