#!/usr/bin/env bash
# Pictures of the sheets and the board: PNG in hardware/figures for the notes, SVG and PDF beside them in
# hardware/figures/vector (not kept).
set -euo pipefail
cd "$(dirname "$0")/.."
mkdir -p figures/vector
rm -f figures/*.png figures/vector/*
kicad-cli sch export svg -o figures/vector board/slotwise.kicad_sch >/dev/null
kicad-cli sch export pdf -o figures/vector/schematic.pdf board/slotwise.kicad_sch >/dev/null
for file in figures/vector/*.svg; do
    # "slotwise-5 Probe P1 and relay logic" becomes sheet-05.
    number=$(basename "$file" .svg | sed -n 's/^slotwise-\([0-9]*\) .*/\1/p')
    rsvg-convert -w 1600 "$file" -o "figures/sheet-$(printf '%02d' "${number:-0}").png"
done
if [ -f board/slotwise.kicad_pcb ]; then
    kicad-cli pcb export svg --mode-single --page-size-mode 2 --exclude-drawing-sheet \
        --layers B.Cu,F.Cu,F.Silkscreen,F.Fab,Edge.Cuts -o figures/vector/board.svg board/slotwise.kicad_pcb >/dev/null
    # Cut to the board: the Pico's drawing reaches far beyond its edge.
    python3 - figures/vector/board.svg <<'CUT'
import re, sys
path, keep = sys.argv[1], 116
text = open(path, encoding="utf-8").read()
wide, high = map(float, re.search(r'width="([\d.]+)mm" height="([\d.]+)mm"', text).groups())
text = re.sub(r'height="[\d.]+mm" viewBox="[^"]*"', f'height="{keep}mm" viewBox="0 {high - keep:.4f} {wide} {keep}"', text, count=1)
open(path, "w", encoding="utf-8").write(text)
CUT
    rsvg-convert -w 1800 -b white figures/vector/board.svg -o figures/board.png
fi
python3 tools/step_figures.py figures/vector
for file in figures/vector/step-*.svg; do
    rsvg-convert -w 1200 "$file" -o "figures/$(basename "$file" .svg).png"
done
rm -f board/*.kicad_prl
