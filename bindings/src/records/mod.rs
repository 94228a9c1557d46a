//! Mirrors of what core returns and takes. Immutable, without objects, units in the names of fields.

mod book;
mod call;
mod changeout;
mod entry;
mod life;
mod outbox;
mod reading;
mod shape;

pub use book::*;
pub use call::*;
pub use changeout::*;
pub use entry::*;
pub use life::*;
pub use outbox::*;
pub use reading::*;
pub use shape::*;
