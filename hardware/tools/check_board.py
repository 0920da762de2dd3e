"""The board against its rules and the netlist.

    python3 hardware/tools/check_board.py [board]

Design rules by kicad-cli, every severity, with the creepage rule of the barrier. Beside it, without
KiCad: every pad is on the net of netlist.csv, and copper that may be touched keeps 8 mm from all
other copper (straight distance of pads, tracks, vias and areas).
"""

import subprocess
import sys
import tempfile
from math import cos, hypot, radians, sin
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from domains import LIVE, REINFORCED, classes  # noqa: E402
from netlist import HARDWARE, load  # noqa: E402
from sexpr import find, find_all, parse  # noqa: E402

BOARD = HARDWARE / "board" / "slotwise.kicad_pcb"


def drc(board=BOARD):
    """Whether the design rules hold, and the report."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "drc.rpt"
        done = subprocess.run(["kicad-cli", "pcb", "drc", "--severity-all", "--exit-code-violations", "-o", str(report),
                               str(board)], stdout=subprocess.DEVNULL, check=False)
        return done.returncode == 0, report.read_text(encoding="utf-8") if report.exists() else ""


def pads(tree):
    """Designator, pad, net, centre and half size of every pad."""
    for part in find_all(tree, "footprint"):
        ref = next(str(p[2]) for p in find_all(part, "property") if str(p[1]) == "Reference")
        at = [float(v) for v in find(part, "at")[1:]]
        turn = radians(at[2] if len(at) > 2 else 0)
        for pad in find_all(part, "pad"):
            px, py = (float(v) for v in find(pad, "at")[1:3])
            own = float(find(pad, "at")[3]) if len(find(pad, "at")) > 3 else 0.0
            w, h = (float(v) / 2 for v in find(pad, "size")[1:3])
            if round(own / 90) % 2:
                w, h = h, w
            net = find(pad, "net")
            x = at[0] + px * cos(turn) + py * sin(turn)
            y = at[1] - px * sin(turn) + py * cos(turn)
            yield ref, str(pad[1]), str(net[-1]) if net else None, x, y, w, h


def names(tree):
    return {int(n[1]): str(n[2]) for n in find_all(tree, "net")}


def copper(tree):
    """Net and rectangle of every pad, track, via and area."""
    by_number = names(tree)
    for _, _, net, x, y, w, h in pads(tree):
        if net:
            yield net, x - w, y - h, x + w, y + h
    for kind in ("segment", "via"):
        for item in find_all(tree, kind):
            net = by_number[int(find(item, "net")[1])]
            if kind == "via":
                x, y = (float(v) for v in find(item, "at")[1:3])
                r = float(find(item, "size")[1]) / 2
                yield net, x - r, y - r, x + r, y + r
                continue
            (x1, y1), (x2, y2) = ([float(v) for v in find(item, end)[1:3]] for end in ("start", "end"))
            r = float(find(item, "width")[1]) / 2
            yield net, min(x1, x2) - r, min(y1, y2) - r, max(x1, x2) + r, max(y1, y2) + r
    # An area counts as the box about its copper.
    for zone in find_all(tree, "zone"):
        net = by_number[int(find(zone, "net")[1])]
        for fill in find_all(zone, "filled_polygon"):
            spots = [[float(v) for v in xy[1:3]] for xy in find_all(find(fill, "pts"), "xy")]
            yield (net, min(x for x, _ in spots), min(y for _, y in spots), max(x for x, _ in spots), max(y for _, y in spots))


def nets_agree(tree, net):
    """Pads whose net is not that of the netlist."""
    wrong, seen = [], set()
    for ref, number, name, *_ in pads(tree):
        want = net.net(ref, number)
        if want and want.startswith("unconnected"):
            want = name
        if number and name != want:
            wrong.append(f"{ref} pad {number} is on {name}, the netlist says {want}")
        seen.add((ref, number))
    wrong += [f"{ref} pin {pin} has no pad" for ref, pins in net.pins.items() for pin in pins if (ref, pin) not in seen]
    return wrong


def barrier_gap(tree, net):
    """Least straight distance between copper that may be touched and all other, in millimetres."""
    kinds = classes(net)
    items = list(copper(tree))
    safe = [i for i in items if kinds.get(i[0]) == "SAFE"]
    live = [i for i in items if kinds.get(i[0]) in LIVE]
    best = (1e9, "", "")
    for a in safe:
        for b in live:
            dx = max(a[1] - b[3], b[1] - a[3], 0)
            dy = max(a[2] - b[4], b[2] - a[4], 0)
            gap = hypot(dx, dy)
            if gap < best[0]:
                best = (gap, a[0], b[0])
    return best


def main():
    board = Path(sys.argv[1]) if len(sys.argv) > 1 else BOARD
    tree, net = parse(board.read_text(encoding="utf-8")), load()
    wrong = nets_agree(tree, net)
    gap, one, other = barrier_gap(tree, net)
    print(f"barrier: {gap:.2f} mm between {one} and {other}")
    if gap < REINFORCED:
        wrong.append(f"barrier is {gap:.2f} mm, not {REINFORCED:g}")
    holds, report = drc(board)
    if not holds:
        wrong.append("design rules:\n" + report)
    for words in wrong:
        print(words)
    if wrong:
        sys.exit("the board breaks its rules")
    print("board: every pad on its net, design rules clean")


if __name__ == "__main__":
    main()
