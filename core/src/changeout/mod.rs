//! The change-out: guided steps as data, and how far one has come.
//!
//! ```text
//! procedure  the reviewed steps of fixtures/procedures, chosen for a pump's variant
//! progress   which steps are done or skipped, in order; survives as a JSON document between two touches
//! ```
//!
//! A step is marked only when all before it are. A hold point guards what hurts people or the machine: like every step it may
//! be skipped only with a reason, and the reason stands in the record. The maker's manual, local codes and licensed practice
//! come first: every procedure begins with that.

mod procedure;
mod progress;

pub use procedure::{Bilingual, Caution, Precaution, Procedure, Signal, Step, StepRecords, cup_change, hand_in_bore};
pub use progress::{Begun, PROGRESS_SCHEMA, Progress};
