//! What a measurement comes to in the record, and what several of them are told with.

use gritbook_core::model::entry as core_entry;

use crate::cross::Cross;
use crate::error::FieldBookError;
use crate::records::{Cup, MeasureTaken};

/// An earlier reading of the same place.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct Before {
    /// Thickness then, mm.
    pub thickness_mm: f64,
    /// Concrete pumped since, m3.
    pub since_m3: f64,
}

/// What a measurement comes to in the record, on which side and at which running total.
#[uniffi::export]
pub fn measure_of_document(document_json: &str, cup: Option<Cup>, pump_m3: Option<f64>) -> Result<MeasureTaken, FieldBookError> {
    Ok(core_entry::Measured::of_document(document_json, cup.cross(), pump_m3)?.cross())
}
