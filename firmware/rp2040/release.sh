#!/usr/bin/env bash
# Makes a release of the firmware: slotwise-VERSION.uf2, slotwise-VERSION.elf and SHA256SUMS in the
# target folder's firmware-release/.
#
#   firmware/rp2040/release.sh            builds it twice, each time from a copy of the sources in
#                                         another folder with nothing built before, and fails if one
#                                         byte of ELF or UF2 differs
#   firmware/rp2040/release.sh --record   also adds the build to host/firmware-builds.csv, by which
#                                         `slotwise doctor` tells old firmware from new. Build the
#                                         host program of the same release after it
#
# The build is a digest of the image (tests/emulator/image-check.mjs), so whoever has the sources
# and the same compiler gets the same number. Sources are the files that git knows, as they stand.
set -euo pipefail

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
root=$(cd "$here/../.." && pwd)
out=${CARGO_TARGET_DIR:-$root/target}/firmware-release
list=$root/host/firmware-builds.csv

say() { printf 'release.sh: %s\n' "$*" >&2; }
fail() { say "$*"; exit 1; }

record=no
case "${1:-}" in
    '') ;;
    --record) record=yes ;;
    *) fail "$1: give nothing, or --record" ;;
esac

cd "$root"
git rev-parse --git-dir >/dev/null 2>&1 || fail "this is no git checkout, so it is not known which files are sources"
[ -z "$(git status --porcelain --untracked-files=no)" ] || say "some files differ from the last commit: this is no release"
version=$(sed -n '/^\[workspace.package\]/,/^\[/s/^version = "\(.*\)"/\1/p' Cargo.toml)
[ -n "$version" ] || fail "Cargo.toml names no version in [workspace.package]"

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
# Both builds have the sources as they stand now, whatever is changed meanwhile.
git ls-files -z | tar --null --files-from=- -cf "$work/sources.tar"
# Two names of different length, so that a path in the image would move what stands behind it.
for place in "$work/one" "$work/the other/further down"; do
    mkdir -p "$place"
    tar -xf "$work/sources.tar" -C "$place"
    say "building in $place"
    CARGO_TARGET_DIR=$place/target "$place/firmware/rp2040/build.sh"
done
for kind in elf uf2; do
    cmp "$work/one/target/firmware/slotwise.$kind" "$work/the other/further down/target/firmware/slotwise.$kind" ||
        fail "two builds of the same sources differ in slotwise.$kind"
done

mkdir -p "$out"
rm -f "$out"/*
for kind in elf uf2; do
    cp "$work/one/target/firmware/slotwise.$kind" "$out/slotwise-$version.$kind"
done
(cd "$out" && sha256sum "slotwise-$version.elf" "slotwise-$version.uf2" >SHA256SUMS)
# Finishing it once more changes nothing and says what stands in it.
build=$(node tests/emulator/image-check.mjs "$out/slotwise-$version.elf" | sed 's/^build \([0-9a-f]*\),.*/\1/')
compiler=$(node tests/emulator/image-check.mjs --compiler "$out/slotwise-$version.elf")
(cd "$out" && sha256sum --check --quiet SHA256SUMS)

say "two builds are equal: version $version, build $build, $compiler"
say "wrote $out/slotwise-$version.uf2, .elf and SHA256SUMS"
if grep -q ",$build," "$list"; then
    say "it is listed in host/firmware-builds.csv"
elif [ "$record" = yes ]; then
    printf '%s,%s,%s\n' "$version" "$build" "$compiler" >>"$list"
    say "added to host/firmware-builds.csv"
else
    say "it is not listed in host/firmware-builds.csv: run with --record for a release"
fi
