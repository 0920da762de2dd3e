"""A picture of the board for each step of build.md, as SVG: what is already there, what comes now.

    python3 hardware/tools/step_figures.py FOLDER
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from check_board import BOARD, pads  # noqa: E402
from netlist import parts_list  # noqa: E402
from placement import BARRIER, HEIGHT, SLOTS, WIDTH  # noqa: E402
from sexpr import parse  # noqa: E402

# Step of build.md: what the picture says, and the sheets or parts that come on.
STEPS = {
    3: ("Converter", ("U3", "Y3", "C3")),
    4: ("Strings", ("R2", "C2")),
    5: ("Barrier of the star", ("U4", "PS4", "C4")),
    6: ("Controller, memory, lamps, power", ("U7", "R7", "U8", "BT8", "C8", "D9", "R9", "SW9", "J9", "BT10", "D10", "U10", "L10", "R10", "C10")),
    7: ("Relays of P1 and logic", ("R5", "K5", "U5", "D5", "C5")),
    8: ("Drive P2", ("PS6", "U6", "R6", "C6", "Q6", "K6")),
    10: ("Leads", ("J1", "R1")),
}


def step_of(ref):
    """The step a part comes on in."""
    letters = ref.rstrip("0123456789")
    sheet = letters + ref[len(letters):-2]
    found = [step for step, (_, sheets) in STEPS.items() if sheet in sheets]
    return found[0] if len(found) == 1 else None


def picture(step, tree):
    title, _ = STEPS[step]
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-4 -14 {WIDTH + 8} {HEIGHT + 18}" '
           f'width="{WIDTH * 8:g}" font-family="sans-serif">',
           f'<rect x="-4" y="-14" width="{WIDTH + 8}" height="{HEIGHT + 18}" fill="white"/>',
           f'<text x="0" y="-6" font-size="5">Step {step}: {title}</text>',
           f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#f6f6ee" stroke="black" stroke-width="0.3"/>',
           f'<rect x="{BARRIER - 4}" width="8" height="{HEIGHT}" fill="#fde2a8"/>',
           f'<text x="{BARRIER - 7}" y="{HEIGHT - 1.5}" font-size="2.4" text-anchor="end">mains</text>',
           f'<text x="{BARRIER + 7}" y="{HEIGHT - 1.5}" font-size="2.4">may be touched</text>']
    for x, y1, y2, w in SLOTS:
        out.append(f'<rect x="{x - w / 2}" y="{y1}" width="{w}" height="{y2 - y1}" rx="{w / 2}" fill="white" stroke="black" stroke-width="0.15"/>')
    spots = {}
    for ref, _, _, x, y, w, h in pads(tree):
        when = step_of(ref)
        colour = "#c0392b" if when == step else "#555555" if when < step else "#cccccc"
        out.append(f'<rect x="{x - w:.2f}" y="{y - h:.2f}" width="{2 * w:.2f}" height="{2 * h:.2f}" fill="{colour}"/>')
        spots.setdefault(ref, []).append((x, y, w, h))
    for ref, points in spots.items():
        if step_of(ref) != step:
            continue
        left, right = min(p[0] for p in points), max(p[0] for p in points)
        top, bottom = min(p[1] for p in points), max(p[1] for p in points)
        x, y = (left + right) / 2, max(2.2, min(p[1] - p[3] for p in points) - 0.35)
        # A part of two pads that stands upright has its name beside it: above it stands the next one.
        turn = ""
        if len(points) == 2 and right - left < 0.1:
            x, y = max(p[0] + p[2] for p in points) + 1.25, (top + bottom) / 2
            turn = f' transform="rotate(-90 {x:.2f} {y:.2f})"'
        size = 1.3 if turn else 1.5
        out.append(f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="middle" fill="#1a237e"{turn}>{ref}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


def main():
    lost = [ref for ref in parts_list() if step_of(ref) is None]
    if lost:
        sys.exit(f"parts in no step: {lost}")
    tree = parse(BOARD.read_text(encoding="utf-8"))
    folder = Path(sys.argv[1])
    for step in STEPS:
        (folder / f"step-{step:02d}.svg").write_text(picture(step, tree), encoding="utf-8")


if __name__ == "__main__":
    main()
