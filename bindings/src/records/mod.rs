//! Mirrors of what core returns and takes. Immutable, without objects, units in the names of fields.

mod book;
mod entry;
mod outbox;
mod reading;
mod shape;

pub use book::*;
pub use entry::*;
pub use outbox::*;
pub use reading::*;
pub use shape::*;
