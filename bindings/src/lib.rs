//! The UniFFI face of `gritbook-core`: Kotlin for the phone, Python for tests. No logic lives here.
uniffi::setup_scaffolding!();
