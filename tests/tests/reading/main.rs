//! Photos to readings by the public interface: what must be read, what must be refused, and documents that keep their shape.

mod accuracy;
mod documents;
mod faces;
mod photos;

use std::path::PathBuf;

use serde_json::Value;

/// A file below `fixtures/photos`.
fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos").join(name)
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(fixture(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn json(name: &str) -> Value {
    serde_json::from_slice(&bytes(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}
