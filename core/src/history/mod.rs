//! A pump's history as a table: one event a row, from which lives and the state at any moment follow.
//!
//! ```text
//! row       what one row says
//! parse     the CSV: comma or semicolon, columns in any order, refused whole where a row is bad
//! timeline  rows of one pump taken in, one after the other: running total, fitted parts, lives, signs
//! duty      how much wear each cubic metre brought
//! totals    running totals that contradict each other
//! stops     what forbids a pour, how it comes and how it goes
//! break_in  the looks that follow new cups
//! contradictions  cups that fail after they came out, come out without having been in, go in twice at once; rows dated ahead
//! repair    what could be put in place of a bad cell, or the row that is missing: offered, never put in by itself
//! ```
//!
//! Rows are sorted by moment and, at the same moment, by event ([`Event`] is declared in that order), so the order of the
//! file changes no answer. A [`Timeline`] only ever takes in the next row: what it says after a row follows from that row
//! and those before it, and nothing later.

mod break_in;
mod contradictions;
mod duty;
mod parse;
mod repair;
mod row;
mod stops;
mod timeline;
mod totals;

pub use break_in::{BREAK_IN_M3, BreakIn, BreakInLook};
pub use duty::DUTY_BAR;
pub use parse::{BadRow, LARGEST_BYTES, Refusal, figures, parse, parse_at};
pub(crate) use parse::{Cells, parse_rows, split_table};
pub use repair::{NewRow, Repair, repaired};
pub use row::{Event, Row};
pub use stops::{PLATE_LOW_LIMIT_MM, Stop, StopKind};
pub use timeline::{Age, FittedPart, Life, LifeEnd, Observation, Seen, Timeline};
pub(crate) use totals::without_contradicting_totals;

use crate::life::LifeSample;
use crate::model::Part;

/// A whole history, rows sorted.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    /// Sorted by moment, event, pump, cup, part, then the rest of the row.
    pub rows: Vec<Row>,
    /// Columns that this program does not know, in the order of the file; their cells stand in each row's `others`.
    pub other_columns: Vec<String>,
}

impl History {
    /// The timelines of all pumps after the last row, sorted by the pump's name.
    pub fn timelines(&self) -> Vec<Timeline> {
        let mut pumps = std::collections::BTreeMap::<&str, Timeline>::new();
        for row in &self.rows {
            pumps.entry(&row.pump).or_insert_with(|| Timeline::new(&row.pump)).take_in(row);
        }
        pumps.into_values().collect()
    }

    /// The lives of one kind of part as samples for a fit, ages in m3: ended lives and those still running at the last row.
    pub fn samples(&self, part: Part) -> Vec<LifeSample> {
        let timelines = self.timelines();
        let lives = timelines.iter().flat_map(|timeline| timeline.lives(part));
        lives.filter_map(|life| life.sample_m3()).collect()
    }
}
