#!/usr/bin/env bash
# The library for this machine with its generated Kotlin, and the depot's program for the tests, in target/debug. Arguments: "phone" for the
# phone's library too, in target/phone; "library" to leave the program out. GRITBOOK_BUILD: what cargo builds in debug instead, where more
# than this is built anyway.
set -euo pipefail
cd "$(dirname "$0")/../.."
target=${CARGO_TARGET_DIR:-target}
# Without what no screen asks for (bindings/Cargo.toml).
packages=(--locked -p gritbook-bindings --no-default-features --features gritbook-bindings/cli)
if [[ " $* " != *" library "* ]]; then packages+=(-p gritbook-depot); fi
if [ -n "${GRITBOOK_BUILD:-}" ]; then read -ra packages <<< "$GRITBOOK_BUILD"; fi
cargo build "${packages[@]}"
if [[ " $* " == *" phone "* ]]; then
    # Relocations are packed, which makes the library 0.19 MB smaller; glibc and Android each have a format of their own (README.md). Equal
    # functions are one, by the linker that Rust brings with it.
    (set -a && . android-shell/build/phone.env && cargo rustc --locked -p gritbook-bindings --no-default-features --lib --profile phone -- -C link-arg=-Wl,-z,pack-relative-relocs -C link-arg=-Wl,--icf=all)
fi
fresh=$(mktemp -d)
trap 'rm -rf "$fresh"' EXIT
# From the debug library: the phone's is stripped of what the generator reads.
"$target/debug/uniffi-bindgen" generate "$target/debug/libgritbook.so" --language kotlin --out-dir "$fresh" --no-format
# Kept as it is where nothing changed, so that Maven does not compile it again.
if ! diff -rq "$fresh" target/android-shell-generated >/dev/null 2>&1; then
    rm -rf target/android-shell-generated
    mkdir -p target
    cp -r "$fresh" target/android-shell-generated
fi
