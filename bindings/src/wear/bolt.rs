//! How tight a bolt goes.

use gritbook_core::wear::bolt as core_bolt;
use gritbook_core::wear::document::text;

use super::{MeasuredWear, wear};
use crate::cross::{Cross, choice};
use crate::error::FieldBookError;

choice! {
    /// A bolt's strength.
    BoltGrade = core_bolt::BoltGrade {
        /// SAE J429 grade 2.
        Sae2,
        /// SAE J429 grade 5.
        Sae5,
        /// SAE J429 grade 8.
        Sae8,
        /// ISO 898-1, 8.8.
        Iso8_8,
        /// ISO 898-1, 10.9.
        Iso10_9,
        /// ISO 898-1, 12.9.
        Iso12_9,
    }
}

choice! {
    /// State of the threads.
    Lubrication = core_bolt::Lubrication {
        /// Plain and dry.
        Dry,
        /// Zinc plated.
        Plated,
        /// Oiled or greased.
        Lubricated,
    }
}

/// How tight a bolt goes.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct BoltMeasured {
    /// What every measurement has.
    pub wear: MeasuredWear,
    /// The torque to use, N m.
    pub torque_nm: f64,
    /// True where it is the maker's.
    pub by_maker: bool,
    /// By T = K d F, N m.
    pub computed_nm: f64,
    /// Tap to chase the thread with.
    pub chase_with: String,
}

/// Torque and tap of a bolt; the maker's figure wins.
#[uniffi::export]
pub fn measure_bolt(thread: &str, grade: BoltGrade, threads: Lubrication, maker_nm: Option<f64>) -> Result<BoltMeasured, FieldBookError> {
    let found = core_bolt::bolt(&core_bolt::Thread::of(thread)?, grade.cross(), threads.cross(), maker_nm)?;
    Ok(BoltMeasured {
        wear: wear(text(&found)?, None),
        torque_nm: found.torque_nm,
        by_maker: found.maker_nm.is_some(),
        computed_nm: found.computed_nm,
        chase_with: found.chase_with,
    })
}
