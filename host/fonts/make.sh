#!/usr/bin/env bash
# Makes the two fonts of this folder anew from Debian's fonts-noto-core: Latin, Greek and
# Cyrillic letters of Noto Sans, with the signs that our reports use from its sister fonts.
# Only needed to change what is in them.
set -euo pipefail
cd "$(dirname "$0")"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
(cd "$work" && apt-get download fonts-noto-core >/dev/null && dpkg-deb -x fonts-noto-core*.deb .)
python3 -m venv "$work/venv"
"$work/venv/bin/pip" install --quiet fonttools==4.68.0
noto=$work/usr/share/fonts/truetype/noto
subset() {
    "$work/venv/bin/pyftsubset" "$noto/$1.ttf" --unicodes="$2" --no-hinting \
        --layout-features='kern,mark,mkmk,ccmp,locl' --output-file="$work/$3.ttf"
}
letters=U+0020-007E,U+00A0-024F,U+0300-036F,U+0370-03FF,U+0400-045F,U+1E00-1EFF,U+2010-2027
letters+=,U+202F-205E,U+2070-209F,U+20AC,U+2116,U+2122,U+2126,U+FFFD
for weight in Regular Bold; do
    subset "NotoSans-$weight" "$letters" letters
    subset NotoSansMath-Regular U+2190-2193,U+2212,U+2260,U+2264,U+2265 math
    subset NotoSansSymbols2-Regular U+25A0,U+25A1,U+25CB,U+25CF,U+2713,U+2717,U+26A0 signs
    "$work/venv/bin/pyftmerge" --output-file="NotoSans-$weight.ttf" --drop-tables=MATH,GSUB \
        "$work/letters.ttf" "$work/math.ttf" "$work/signs.ttf"
done
