//! What Gritbook knows and computes: debris reading, wear, life, the call, the store and the outbox.
//!
//! No network, no user interface, no clock of its own: time always comes in as an argument.
//!
//! ```text
//! fieldbook ──► store, outbox, debris, wear, life, call      the use cases; what bindings and the command call
//! outbox    ──► store, wire, model                           which request to make next (sans-IO)
//! store     ──► model, ids, units                            SQLite and the photo folder
//! diagnosis ──► life, history                                which cause fits the signs together; pure
//! call      ──► life, wear, debris results                   pour, pour and watch, change first
//! debris    ──► photo, units                                 photo to reading; pure
//! face      ──► debris, photo                                photo of a wear surface to shares under grit, scores, chips; pure
//! life, wear, pump ──► units                                 sums of the trade; pure
//! model, wire ──► ids, units, error                          what a record is, and how it travels
//! ```

pub mod call;
pub mod changeout;
pub mod debris;
pub mod diagnosis;
pub mod error;
pub mod error_words;
pub mod face;
mod failpoint;
pub mod fieldbook;
pub mod history;
pub mod ids;
pub mod life;
pub mod model;
mod order;
pub mod outbox;
pub mod photo;
pub mod pump;
pub mod shelf;
pub mod store;
pub mod units;
pub mod wear;
pub mod wire;

pub use error::{CoreError, ErrorKind};
pub use fieldbook::FieldBook;
