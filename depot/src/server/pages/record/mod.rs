//! The record's own addresses: a pump, one entry, the history of grades, what all of it says of parts, search.

mod entry;
mod grades;
mod over;
mod parts;
mod pump;
mod search;

use axum::extract::Path;
use axum::extract::rejection::PathRejection;
use gritbook_core::ids::PumpId;

use super::super::Problem;
use super::super::addresses::Addresses;
use super::super::auth::Reader;
use crate::report::chart::{Chart, Palette, to_svg};

pub(in crate::server) use entry::curve_in;

pub(super) fn addresses() -> Addresses {
    Addresses::new()
        .get("/pumps/{id}", pump::page)
        .get("/pumps/{id}/grades", grades::page)
        .get("/entries/{id}", entry::page)
        .get("/entries/{id}/window.jpg", entry::window)
        .get("/parts", parts::page)
        .get("/search", search::page)
}

/// An id out of the address.
type Named = Result<Path<String>, PathRejection>;

fn no_such_pump() -> Problem {
    Problem::new(404, "no_such_pump", "the depot has no entry of this pump", "take one from the list of pumps")
}

/// The pump that the address names, where its pages are open to the reader. Another one looks like one that is not there.
fn pump_of(id: Named, reader: &Reader) -> Result<PumpId, Problem> {
    let Ok(Path(id)) = id else { return Err(no_such_pump()) };
    id.parse().ok().filter(|pump| reader.may_read(*pump)).ok_or_else(no_such_pump)
}

/// Narrow enough that its words can still be read on a phone.
fn for_a_page(chart: Chart) -> Chart {
    Chart { width_px: 440.0, height_px: 330.0, ..chart }
}

/// A chart in a page: in the page's own colours by day and night, and without a style of its own.
fn chart_svg(chart: &Chart) -> String {
    const PAGE: Palette =
        Palette { paper: "var(--paper)", ink: "var(--ink)", pencil: "var(--pencil)", rule: "var(--rule)", violet: "var(--violet)" };
    to_svg(&chart.layout(), &PAGE).replacen(" style=\"font-variant-numeric: tabular-nums\"", " class=\"chart\"", 1)
}
