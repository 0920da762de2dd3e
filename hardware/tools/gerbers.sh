#!/usr/bin/env bash
# What a board house needs: gerbers and drill files in the folder given, or hardware/board/gerbers
# (not kept). The slots are on the outline layer: say in the order that they are milled.
set -euo pipefail
cd "$(dirname "$0")/.."
folder=${1:-board/gerbers}
mkdir -p "$folder"
kicad-cli pcb drc --severity-all --exit-code-violations -o "$folder/drc.rpt" board/slotwise.kicad_pcb
kicad-cli pcb export gerbers --layers F.Cu,B.Cu,F.Mask,B.Mask,F.Paste,F.Silkscreen,Edge.Cuts \
    -o "$folder" board/slotwise.kicad_pcb
kicad-cli pcb export drill -o "$folder/" board/slotwise.kicad_pcb
rm -f board/*.kicad_prl
