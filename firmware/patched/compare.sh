#!/usr/bin/env bash
# Holds firmware/patched/usb-device against the crate as it is published: what differs must be what
# usb-device.patch says, so that everything else is known to be theirs.
#
#   firmware/patched/compare.sh           compares
#   firmware/patched/compare.sh --write   writes usb-device.patch anew
set -euo pipefail

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
version=$(sed -n 's/^version = "\(.*\)"/\1/p' "$here/usb-device/Cargo.toml")
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT

# A program of nothing that depends on the published crate: cargo fetches and checks it.
mkdir "$folder/src"
touch "$folder/src/lib.rs"
cat > "$folder/Cargo.toml" <<EOF
[workspace]
[package]
name = "published"
version = "0.0.0"
edition = "2024"
[dependencies]
usb-device = "=$version"
EOF
published=$(cd "$folder" && cargo metadata --format-version 1 |
    python3 -c 'import json, os, sys
for package in json.load(sys.stdin)["packages"]:
    if package["name"] == "usb-device":
        print(os.path.dirname(package["manifest_path"]))')

mkdir "$folder/a" "$folder/b"
cp -r "$published/src" "$published/LICENSE" "$folder/a"
cp -r "$here/usb-device/src" "$here/usb-device/LICENSE" "$folder/b"
# Some of its files end their lines as Windows does; the copy has none of that.
find "$folder/a" -type f -exec sed -i 's/\r$//' {} +
# diff says 1 where something differs.
(cd "$folder" && LC_ALL=C diff -ruN a b | grep -v '^diff ' | sed -E 's/^(---|\+\+\+) ([^\t]*)\t.*/\1 \2/' > changes.patch) || true
if [ "${1:-}" = --write ]; then
    cp "$folder/changes.patch" "$here/usb-device.patch"
elif ! diff -u "$here/usb-device.patch" "$folder/changes.patch"; then
    echo "compare.sh: firmware/patched/usb-device differs from usb-device $version otherwise than" \
        "usb-device.patch says; look at it, then write the patch anew with --write" >&2
    exit 1
fi
echo "usb-device $version: $(grep -c '^[-+][^-+]' "$here/usb-device.patch") lines of ours, the rest as published"
