//! Generates the Kotlin and Python faces from the built library.
fn main() {
    uniffi::uniffi_bindgen_main();
}
