#!/usr/bin/env bash
# Resources and manifest to resources.apk and R.java, by aapt2 against the framework's own resources. Arguments: the shell's folder, the build folder.
set -euo pipefail
shell=$1
out=$2
mkdir -p "$out"
rm -rf "$out/gen-r"
mkdir -p "$out/gen-r"
aapt2 compile --dir "$shell/src/main/res" -o "$out/res.zip"
assets=()
if [ -d "$shell/src/main/assets" ]; then assets=(-A "$shell/src/main/assets"); fi
aapt2 link -I /usr/share/android-framework-res/framework-res.apk --manifest "$shell/src/main/AndroidManifest.xml" \
    --min-sdk-version 26 --target-sdk-version 33 --version-code 1 --version-name 0.1 --auto-add-overlay --debug-mode "${assets[@]}" \
    --java "$out/gen-r" -o "$out/resources.apk" "$out/res.zip"
