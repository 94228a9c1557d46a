//! The page.

use axum::Router;

use super::Depot;

pub(super) fn router() -> Router<Depot> {
    Router::new()
}
