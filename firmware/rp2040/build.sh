#!/usr/bin/env bash
# Builds the image for the RP2040: slotwise.elf and slotwise.uf2 in the target folder's
# firmware/ (target/firmware, or under CARGO_TARGET_DIR).
#
# Finds a toolchain for thumbv6m-none-eabi in this order:
#   1. the active one, if it has the target's core library; rustup may add it;
#   2. Debian's packaged Rust, which builds the core library from its sources;
#   3. else it says what to install.
# Finds a linker in this order: the toolchain's own rust-lld, another rustup toolchain's,
# ld.lld, arm-none-eabi-ld. Paths of the building machine are kept out of the image, so that
# the same sources and compiler give the same bytes in any folder.
set -euo pipefail

readonly target=thumbv6m-none-eabi
readonly package=slotwise-rp2040
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
root=$(cd "$here/../.." && pwd)
target_dir=${CARGO_TARGET_DIR:-$root/target}
mkdir -p "$target_dir"
target_dir=$(cd "$target_dir" && pwd)
cd "$root"

say() { printf '%s\n' "$*" >&2; }

# Whether the compiler $1 has the target's core library.
has_core() {
    local folder
    folder=$("$1" --print target-libdir --target "$target" 2>/dev/null) || return 1
    compgen -G "$folder/libcore-*.rlib" >/dev/null
}

rustc=rustc
cargo=(cargo)
extra=()
if command -v rustc >/dev/null && has_core rustc; then
    :
elif command -v rustup >/dev/null && rustup target add "$target" >&2 && has_core rustc; then
    :
elif [ -x /usr/bin/rustc ] && [ -x /usr/bin/cargo ] \
    && [ -d "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src/rust/library/core" ]; then
    # Building the core library needs an unstable switch of cargo.
    unset RUSTUP_TOOLCHAIN
    export RUSTC=/usr/bin/rustc RUSTC_BOOTSTRAP=1
    rustc=/usr/bin/rustc
    cargo=(/usr/bin/cargo)
    extra=(-Zbuild-std=core)
else
    say "build.sh: no Rust toolchain for $target was found. Install one of:"
    say "  rustup target add $target"
    say "  apt-get install --no-install-recommends rustc-web rust-web-src cargo-web"
    exit 1
fi

host=$("$rustc" -vV | sed -n 's/^host: //p')
own_linker=$("$rustc" --print sysroot)/lib/rustlib/$host/bin/rust-lld
if [ -z "${CARGO_TARGET_THUMBV6M_NONE_EABI_LINKER:-}" ] && [ ! -x "$own_linker" ]; then
    linker=$(compgen -G "${RUSTUP_HOME:-$HOME/.rustup}/toolchains/*/lib/rustlib/*/bin/rust-lld" | head -n 1 || true)
    for candidate in ld.lld arm-none-eabi-ld; do
        [ -n "$linker" ] || linker=$(command -v "$candidate" || true)
    done
    if [ -z "$linker" ]; then
        say "build.sh: no linker for Arm was found. Install one of:"
        say "  apt-get install --no-install-recommends lld"
        say "  apt-get install --no-install-recommends binutils-arm-none-eabi"
        exit 1
    fi
    export CARGO_TARGET_THUMBV6M_NONE_EABI_LINKER=$linker
fi

# Later prefixes win where two match.
flags=(
    "--remap-path-prefix=$root=slotwise"
    "--remap-path-prefix=$target_dir=target"
    "--remap-path-prefix=${CARGO_HOME:-$HOME/.cargo}/registry/src=crates"
    "--remap-path-prefix=$("$rustc" --print sysroot)/lib/rustlib/src=rust"
)
CARGO_ENCODED_RUSTFLAGS=$(printf '%s\x1f' "${flags[@]}")
export CARGO_ENCODED_RUSTFLAGS=${CARGO_ENCODED_RUSTFLAGS%$'\x1f'}
export DEFMT_LOG=${DEFMT_LOG:-info}
export CARGO_TARGET_DIR=$target_dir

"${cargo[@]}" build --locked --package "$package" --target "$target" --profile firmware "${extra[@]}"

out=$target_dir/firmware
mkdir -p "$out"
cp "$target_dir/$target/firmware/$package" "$out/slotwise.elf"
if ! command -v node >/dev/null; then
    say "build.sh: wrote $out/slotwise.elf; slotwise.uf2 needs Node 20 or later (tests/emulator/uf2.mjs)"
    exit 1
fi
# The firmware compares this check word with its flash when it starts.
node "$root/tests/emulator/image-check.mjs" "$out/slotwise.elf"
node "$root/tests/emulator/uf2.mjs" "$out/slotwise.elf" "$out/slotwise.uf2"
say "wrote $out/slotwise.elf and $out/slotwise.uf2"
