#!/usr/bin/env bash
# The library for this machine with its generated Kotlin, and the depot's program for the tests. Arguments: debug (usual) or release;
# "library" to leave the program out.
set -euo pipefail
cd "$(dirname "$0")/../.."
profile=${1:-debug}
flags=(--locked)
if [ "$profile" = release ]; then flags+=(--release); fi
target=${CARGO_TARGET_DIR:-target}
cargo build -p gritbook-bindings --features cli "${flags[@]}"
if [ "${2:-}" != library ]; then cargo build -p gritbook-depot "${flags[@]}"; fi
fresh=$(mktemp -d)
trap 'rm -rf "$fresh"' EXIT
"$target/$profile/uniffi-bindgen" generate "$target/$profile/libgritbook.so" --language kotlin --out-dir "$fresh" --no-format
# Kept as it is where nothing changed, so that Maven does not compile it again.
if ! diff -rq "$fresh" target/android-shell-generated >/dev/null 2>&1; then
    rm -rf target/android-shell-generated
    mkdir -p target
    cp -r "$fresh" target/android-shell-generated
fi
