//! What the commands of measured wear share.

use std::path::Path;

use gritbook_core::history::figures;

use super::Failure;
use super::life::{read, refused};

/// Reads a CSV of figures with these columns, in any order.
pub(super) fn table<const N: usize>(path: &Path, columns: [&str; N]) -> Result<Vec<[f64; N]>, Failure> {
    figures(&read(path)?, columns).map_err(refused)
}
