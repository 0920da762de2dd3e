#!/usr/bin/env bash
# Installs what the hardware checks need and is not there yet: KiCad 9 (kicad-cli) with its symbol
# and footprint libraries from Debian's backports, ngspice, rsvg-convert, OpenSCAD.
#
# Debian 12's own KiCad is version 6: no kicad-cli, no creepage rule. On other systems install
# KiCad 9 or newer by its own means; a kicad-cli of version 9 or newer on the path is enough.
set -euo pipefail

fail() { printf '\nhardware: %s\n' "$1" >&2; exit 1; }
sudo=
[ "$(id -u)" = 0 ] || sudo=sudo

is_kicad_here() {
    command -v kicad-cli >/dev/null 2>&1 || return 1
    local major
    major=$(kicad-cli version 2>/dev/null | cut -d. -f1)
    [ "${major:-0}" -ge 9 ] || return 1
    [ -d /usr/share/kicad/symbols ] && [ -d /usr/share/kicad/footprints ]
}

missing=()
command -v ngspice >/dev/null 2>&1 || missing+=(ngspice)
command -v rsvg-convert >/dev/null 2>&1 || missing+=(librsvg2-bin)
command -v openscad >/dev/null 2>&1 || missing+=(openscad)

if is_kicad_here && [ ${#missing[@]} = 0 ]; then
    exit 0
fi
command -v apt-get >/dev/null 2>&1 ||
    fail "install KiCad 9 or newer with its libraries, ngspice, rsvg-convert and OpenSCAD, and run again"

if ! is_kicad_here; then
    codename=$(. /etc/os-release && echo "${VERSION_CODENAME:-}")
    version=$(apt-cache policy kicad | sed -n 's/^ *Candidate: //p')
    if [ "$codename" = bookworm ] && [ "${version%%.*}" != 9 ]; then
        # The same mirror as the system's own packages, one more suite.
        mirror=$(apt-get indextargets --format '$(REPO_URI) $(CODENAME)' |
            sed -n 's/ bookworm$//p' | head -n 1)
        [ -n "$mirror" ] || fail "no Debian mirror is configured"
        printf 'Types: deb\nURIs: %s\nSuites: bookworm-backports\nComponents: main\nSigned-By: %s\n' \
            "$mirror" /usr/share/keyrings/debian-archive-keyring.gpg |
            $sudo tee /etc/apt/sources.list.d/bookworm-backports.sources >/dev/null
        missing+=(kicad/bookworm-backports kicad-symbols/bookworm-backports
            kicad-footprints/bookworm-backports libngspice0/bookworm-backports)
    else
        missing+=(kicad kicad-symbols kicad-footprints)
    fi
fi
$sudo apt-get update -qq
$sudo env DEBIAN_FRONTEND=noninteractive \
    apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null ||
    fail "apt-get could not install ${missing[*]}"
is_kicad_here || fail "kicad-cli 9 is still missing"
