#!/usr/bin/env bash
# Installs what the shell's build needs from Debian, where it is missing and this runs as root.
set -euo pipefail
missing=()
command -v mvn >/dev/null || missing+=(maven)
command -v javac >/dev/null || missing+=(openjdk-17-jdk-headless)
command -v aapt2 >/dev/null || missing+=(aapt)
command -v apksigner >/dev/null || missing+=(apksigner)
command -v zipalign >/dev/null || missing+=(zipalign)
[ -f /usr/share/android-framework-res/framework-res.apk ] || missing+=(android-framework-res)
[ ${#missing[@]} = 0 ] && exit 0
if command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "${missing[@]}" >/dev/null
else
    echo "Missing Debian packages: ${missing[*]}. Install them and run this again." >&2
    exit 1
fi
