"""Writes the project's own footprints, hardware/board/slotwise.pretty.

What the installed libraries lack: pads for the cord and the clip lead, the wide-body isolator with
short pads (8.1 mm between its rows, as its maker draws it for high voltage: from memory), and the
DIP-24 converter (15.24 mm between input and output rows: pin order from memory, confirm it).
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from sexpr import Text, ident, write  # noqa: E402

FONT = ["effects", ["font", ["size", 1, 1], ["thickness", 0.15]]]


def line(name, n, layer, x1, y1, x2, y2):
    return ["fp_line", ["start", x1, y1], ["end", x2, y2], ["stroke", ["width", 0.12], ["type", "solid"]],
            ["layer", Text(layer)], ["uuid", ident("fp", name, layer, n)]]


def box(name, layer, x1, y1, x2, y2):
    corners = [(x1, y1), (x2, y1), (x2, y2), (x1, y2), (x1, y1)]
    return [line(name, n, layer, *a, *b) for n, (a, b) in enumerate(zip(corners, corners[1:]))]


def footprint(name, words, kind, pads, body, margin=0.5):
    x1, y1, x2, y2 = body
    out = ["footprint", Text(name), ["version", 20241229], ["generator", Text("slotwise")], ["layer", Text("F.Cu")],
           ["descr", Text(words)], ["attr", kind],
           ["property", Text("Reference"), Text("REF**"), ["at", (x1 + x2) / 2, y1 - 1.5, 0], ["layer", Text("F.SilkS")],
            ["uuid", ident("fp", name, "ref")], FONT],
           ["property", Text("Value"), Text(name), ["at", (x1 + x2) / 2, y2 + 1.5, 0], ["layer", Text("F.Fab")],
            ["uuid", ident("fp", name, "value")], FONT]]
    xs = [p[1] - p[3] / 2 for p in pads] + [p[1] + p[3] / 2 for p in pads] + [x1, x2]
    ys = [p[2] - p[4] / 2 for p in pads] + [p[2] + p[4] / 2 for p in pads] + [y1, y2]
    out += box(name, "F.Fab", x1, y1, x2, y2)
    out += box(name, "F.CrtYd", min(xs) - margin, min(ys) - margin, max(xs) + margin, max(ys) + margin)
    for number, x, y, w, h, drill in pads:
        shape = "circle" if drill and w == h else "roundrect" if not drill else "oval"
        pad = ["pad", Text(number), "thru_hole" if drill else "smd", shape, ["at", x, y], ["size", w, h]]
        if drill:
            pad += [["drill", drill], ["layers", Text("*.Cu"), Text("*.Mask")]]
        else:
            pad += [["layers", Text("F.Cu"), Text("F.Paste"), Text("F.Mask")], ["roundrect_rratio", 0.2]]
        out.append(pad + [["uuid", ident("fp", name, "pad", number)]])
    return out


def footprints():
    """Every footprint by its name."""
    made = {
        "Cord_1x03_P7.62mm": ("Mains cord, soldered, 3 x 1 mm2", "through_hole",
                              [(str(n + 1), n * 7.62, 0, 3.2, 3.2, 1.7) for n in range(3)], (-3, -3, 18.24, 3)),
        "Lead_1x01": ("Clip lead, soldered", "through_hole", [("1", 0, 0, 3.2, 3.2, 1.7)], (-3, -3, 3, 3)),
        "SOIC-16W_HV": ("SOIC-16 wide body, short pads, 8.1 mm between the rows", "smd",
                        [(str(n + 1), -4.875, -4.445 + n * 1.27, 1.65, 0.6, 0) for n in range(8)]
                        + [(str(16 - n), 4.875, -4.445 + n * 1.27, 1.65, 0.6, 0) for n in range(8)],
                        (-3.75, -5.15, 3.75, 5.15)),
        "DCDC_DIP24": ("Isolated converter, DIP-24, pins 2 3 22 23 input, 9 11 14 16 output", "through_hole",
                       [(str(n), 0 if n <= 12 else 15.24, (n - 1 if n <= 12 else 24 - n) * 2.54, 1.6, 1.6, 0.9)
                        for n in (2, 3, 9, 11, 14, 16, 22, 23)], (-2.55, -1.95, 17.8, 29.9)),
    }
    return {name: write(footprint(name, *what)) + "\n" for name, what in made.items()}


def main():
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[1] / "board"
    folder = folder / "slotwise.pretty"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in footprints().items():
        (folder / f"{name}.kicad_mod").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
