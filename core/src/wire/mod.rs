//! How records travel. Serde only, one module per version.

pub mod v1;
