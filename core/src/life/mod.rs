//! How long parts last: censored lives, the two-parameter Weibull, and what follows from it.
//!
//! ```text
//! sample     one life: how it ended, and from which age it was watched
//! weibull    the distribution: reliability, what is left of a life, B-life
//! fit        maximum likelihood under censoring, with observed information and two kinds of interval
//! counted    without a model: Kaplan-Meier with Greenwood, Nelson-Aalen
//! competing  how parts end where several ends compete: Aalen-Johansen
//! renewal    age replacement: when to change by plan, and what a cubic metre costs then
//! fleet      the stated prior for few data, and the posterior on a grid with a factor of its own for each pump
//! condition  what grades, levels, the liquid and settled solids say about how far a cup is through its life
//! joint      lives and signs together: removals that were no accident, mishaps, bad fits
//! shop       a whole record of cups taken in row by row, and what it teaches about all of the above
//! summary    all of it for one kind of part, as the document `gritbook.life/1`
//! elementary exp and ln over whole rows, the same on every machine
//! numeric    bracketed roots, one-dimensional minima, quadrature
//! ```
//!
//! Pure: same input, same answer. Ages are volumes of concrete (m3) or any other positive measure of use; nothing here
//! knows which. R(t) = exp(-(t/scale)^shape) throughout.

pub mod competing;
pub mod condition;
pub mod counted;
pub(crate) mod elementary;
pub mod fit;
pub mod fleet;
pub mod joint;
pub mod numeric;
pub mod renewal;
pub mod sample;
pub mod shop;
pub mod summary;
pub mod weibull;

pub use counted::{CountedRow, kaplan_meier};
pub use fit::{Fit, fit};
pub use sample::{Ending, LifeSample};
pub use summary::{LifeSummary, summary};
pub use weibull::Weibull;
