//! Mirrors of what core returns and takes. Immutable, without objects, units in the names of fields.

mod book;
mod call;
mod changeout;
mod diagnosis;
mod entry;
mod life;
mod outbox;
mod reading;
mod shape;
mod track;

pub use book::*;
pub use call::*;
pub use changeout::*;
pub use diagnosis::*;
pub use entry::*;
pub use life::*;
pub use outbox::*;
pub use reading::*;
pub use shape::*;
pub use track::*;
