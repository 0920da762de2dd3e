"""One sheet of the schematic under construction: parts, wires, labels, words.

Coordinates are millimetres on KiCad's 1.27 mm grid, y down. A part is placed by its origin; its
pins are asked for by number, so a wire never names a coordinate that a symbol owns.
"""

from copy import deepcopy

from library import POWERS, pins
from sexpr import Text, find, find_all, ident

FONT = ["font", ["size", 1.27, 1.27]]


def effects(*more, size=1.27):
    return ["effects", ["font", ["size", size, size]], *more]


class Sheet:
    """Parts come with value and footprint from the parts list."""

    def __init__(self, key, title, page, symbols, parts, project="slotwise"):
        self.key, self.title, self.page = key, title, page
        self.symbols, self.parts, self.project = symbols, parts, project
        self.placed, self.pin_at, self.items, self.wires, self.used = {}, {}, [], [], {}
        self.marks = set()
        self.uuid = ident("sheet", key)
        self.block = ident("block", key)
        self.path = f"/{ident('sheet', 'slotwise')}/{self.block}"
        self.paper = "A4"

    # -- parts

    def part(self, ref, symbol, x, y, turn=0, mirror=None, unit=1, ref_at=None, value_at=None, hide_value=False,
             aligned=None):
        """Places a part; `turn` in degrees counter-clockwise. Returns its origin."""
        x, y = round(x, 4), round(y, 4)
        lib = self.symbols[symbol]
        self.used[symbol] = lib
        for number, _, px, py in pins(lib, unit):
            self.pin_at[f"{ref}.{number}"] = self._turned(x, y, px, py, turn, mirror)
        listed = self.parts.get(ref)
        if listed is None and not ref.startswith("#"):
            raise KeyError(f"{ref} is not in the parts list")
        value = listed["value"] if listed else symbol
        place, justify = self._texts(lib, x, y, turn, mirror, unit, symbol)
        if aligned:
            justify = ([["justify", aligned]], [["justify", aligned]])
        ref_x, ref_y = ref_at or place[0]
        value_x, value_y = value_at or place[1]
        hidden = [["hide", "yes"]]
        upright = 0 if turn % 180 == 0 else 90
        node = [
            "symbol", ["lib_id", Text(f"{self.project}:{symbol}")], ["at", x, y, turn],
            *([["mirror", mirror]] if mirror else []), ["unit", unit],
            ["exclude_from_sim", "no"], ["in_bom", "yes"], ["on_board", "yes"], ["dnp", "no"],
            ["uuid", ident("part", self.key, ref, unit)],
            ["property", Text("Reference"), Text(ref), ["at", ref_x, ref_y, upright],
             effects(*justify[0], *(hidden if ref.startswith("#") else []))],
            ["property", Text("Value"), Text(value), ["at", value_x, value_y, upright],
             effects(*justify[1], *(hidden if hide_value else []))],
            ["property", Text("Footprint"), Text(listed["footprint"] if listed else ""), ["at", x, y, 0],
             effects(*hidden)],
            ["property", Text("Datasheet"), Text(""), ["at", x, y, 0], effects(*hidden)],
            ["property", Text("Description"), Text(""), ["at", x, y, 0], effects(*hidden)],
        ]
        seen = set()
        for number, *_ in pins(lib, unit):
            if number not in seen:
                seen.add(number)
                node.append(["pin", Text(number), ["uuid", ident("pin", self.key, ref, unit, number)]])
        node.append(["instances", ["project", Text(self.project), [
            "path", Text(self.path), ["reference", Text(ref)], ["unit", unit]]]])
        self.items.append(node)
        self.placed[(ref, unit)] = (x, y)
        return x, y

    def _turned(self, x, y, px, py, turn, mirror):
        if mirror == "x":
            py = -py
        if mirror == "y":
            px = -px
        px, py = {0: (px, py), 90: (-py, px), 180: (-px, -py), 270: (py, -px)}[turn % 360]
        return round(x + px, 4), round(y - py, 4)

    def _box(self, lib, unit):
        xs, ys = [], []
        for piece in find_all(lib, "symbol"):
            if int(piece[1].rsplit("_", 2)[1]) not in (0, unit):
                continue
            for shape in piece:
                if not isinstance(shape, list):
                    continue
                if shape[0] == "rectangle":
                    points = [find(shape, "start"), find(shape, "end")]
                elif shape[0] == "polyline":
                    points = list(find_all(find(shape, "pts"), "xy"))
                elif shape[0] == "circle":
                    centre, radius = find(shape, "center"), float(find(shape, "radius")[1])
                    points = [["", float(centre[1]) - radius, float(centre[2]) - radius],
                              ["", float(centre[1]) + radius, float(centre[2]) + radius]]
                else:
                    continue
                xs += [float(p[1]) for p in points]
                ys += [float(p[2]) for p in points]
        return (min(xs), min(ys), max(xs), max(ys)) if xs else (0, 0, 0, 0)

    def _texts(self, lib, x, y, turn, mirror, unit, symbol):
        left, right = [["justify", "left"]], [["justify", "right"]]
        if symbol in POWERS:
            return ((x, y), (x, y)), ([], [])
        if symbol in ("R", "C", "L", "LED", "D_Schottky"):
            is_flat = (turn % 180 == 90) != (symbol in ("LED", "D_Schottky"))
            gap = 3.81 if symbol == "C" else 2.54
            if is_flat:
                # Below a quarter turn KiCad draws a field along the symbol: it reads level.
                return ((x, y - gap), (x, y + gap)), ([], [])
            return ((x + 2.54, y - 1.27), (x + 2.54, y + 1.27)), (left, left)
        low_x, low_y, high_x, high_y = self._box(lib, unit)
        corners = [self._turned(x, y, cx, cy, turn, mirror) for cx in (low_x, high_x) for cy in (low_y, high_y)]
        first, last = min(c[0] for c in corners), max(c[0] for c in corners)
        top = min(c[1] for c in corners)
        # In the outer corners: pins that leave upwards or downwards stand between.
        return ((first, top - 1.27), (last, top - 1.27)), (right, left)

    def power(self, name, x, y, turn=0):
        """A power symbol, or a flag that says where power comes from."""
        number = sum(1 for ref, _ in self.placed if ref.startswith("#")) + 1
        ref = f"#{'FLG' if name == 'PWR_FLAG' else 'PWR'}{self.page:02d}{number:02d}"
        is_down = name in ("GND", "STAR", "DRIVE_COM")
        shift = 3.81 if is_down else -3.81
        if turn in (90, 270):
            side = (1 if turn == 270 else -1) * (1 if not is_down else -1)
            value_at = (x + side * 4.2 + (0), y)
            value_at = (x + side * (2.8 + 0.55 * len(name)), y)
        else:
            value_at = (x, y + (shift if turn == 0 else -shift))
        self.part(ref, name, x, y, turn, value_at=value_at, hide_value=name == "PWR_FLAG")
        return x, y

    # -- connections

    def pin(self, name):
        return self.pin_at[name]

    def wire(self, *points):
        """A run of straight wires through `points`; a point is a pair or the name of a pin."""
        points = [self.pin(p) if isinstance(p, str) else (round(p[0], 4), round(p[1], 4)) for p in points]
        for (ax, ay), (bx, by) in zip(points, points[1:]):
            if ax != bx and ay != by:
                raise ValueError(f"{self.key}: slanted wire {ax},{ay} to {bx},{by}")
            if (ax, ay) != (bx, by):
                self.wires.append(((ax, ay), (bx, by)))

    def elbow(self, one, other, first="h"):
        """Two straight wires with a corner, or one where that is enough."""
        a = self.pin(one) if isinstance(one, str) else one
        b = self.pin(other) if isinstance(other, str) else other
        corner = (b[0], a[1]) if first == "h" else (a[0], b[1])
        self.wire(a, corner, b)

    def stub(self, pin, length, net=None, kind="global"):
        """A wire of `length` (right, or left if negative) from a pin with a label at its end."""
        x, y = self.pin(pin) if isinstance(pin, str) else pin
        self.wire((x, y), (x + length, y))
        if net:
            self.label(net, x + length, y, 0 if length > 0 else 180, kind)

    def label(self, net, x, y, turn=0, kind="global"):
        x, y = round(x, 4), round(y, 4)
        self.marks.add((x, y))
        justify = ["justify", "left" if turn in (0, 90) else "right", *([] if kind == "global" else ["bottom"])]
        node = [f"{kind}_label" if kind == "global" else "label", Text(net)]
        if kind == "global":
            node.append(["shape", "passive"])
        node += [["at", x, y, turn], effects(justify), ["uuid", ident("label", self.key, net, x, y)]]
        if kind == "global":
            node.append(["property", Text("Intersheetrefs"), Text("${INTERSHEET_REFS}"), ["at", x, y, 0],
                         effects(["hide", "yes"])])
        self.items.append(node)

    def unconnected(self, *names):
        for name in names:
            x, y = self.pin(name)
            self.items.append(["no_connect", ["at", x, y], ["uuid", ident("nc", self.key, name)]])

    # -- words and frames

    def note(self, text, x, y, size=1.27):
        self.items.append(["text", Text(text), ["exclude_from_sim", "no"], ["at", x, y, 0],
                           effects(["justify", "left", "top"], size=size), ["uuid", ident("text", self.key, x, y)]])

    def frame(self, x1, y1, x2, y2, is_dashed=True):
        self.items.append(["rectangle", ["start", x1, y1], ["end", x2, y2],
                           ["stroke", ["width", 0.2], ["type", "dash" if is_dashed else "solid"]],
                           ["fill", ["type", "none"]], ["uuid", ident("frame", self.key, x1, y1)]])

    def barrier(self, x, y1, y2):
        """The isolation barrier as a line across the sheet."""
        self.items.append(["polyline", ["pts", ["xy", x, y1], ["xy", x, y2]],
                           ["stroke", ["width", 0.5], ["type", "dash_dot"]],
                           ["uuid", ident("barrier", self.key, x)]])

    # -- output

    def _junctions(self):
        ends, pins_at = {}, set(self.pin_at.values())
        for a, b in self.wires:
            for p in (a, b):
                ends[p] = ends.get(p, 0) + 1
        found = set()
        for point in set(ends) | pins_at:
            count = ends.get(point, 0) + (point in pins_at)
            for a, b in self.wires:
                if point in (a, b):
                    continue
                on_x = a[0] == b[0] == point[0] and min(a[1], b[1]) < point[1] < max(a[1], b[1])
                on_y = a[1] == b[1] == point[1] and min(a[0], b[0]) < point[0] < max(a[0], b[0])
                if (on_x or on_y) and (point in ends or point in pins_at):
                    count += 2
            if count >= 3:
                found.add(point)
        return sorted(found)

    def _split(self):
        """The wires, cut where another wire, a pin or a label meets them, as KiCad's editor does."""
        marks = {p for wire in self.wires for p in wire} | set(self.pin_at.values()) | self.marks
        found = []
        for a, b in self.wires:
            axis = 0 if a[1] == b[1] else 1
            low, high = sorted((a[axis], b[axis]))
            between = [p for p in marks if p[1 - axis] == a[1 - axis] and low < p[axis] < high]
            run = sorted([a, b, *between], key=lambda p: p[axis])
            found += [piece for piece in zip(run, run[1:]) if piece not in found]
        return found

    def document(self, notice):
        """The sheet file."""
        lib = []
        for name, symbol in self.used.items():
            copy = deepcopy(symbol)
            copy[1] = Text(f"{self.project}:{name}")
            lib.append(copy)
        body = list(self.items)
        for number, (a, b) in enumerate(self._split()):
            body.append(["wire", ["pts", ["xy", *a], ["xy", *b]], ["stroke", ["width", 0], ["type", "default"]],
                         ["uuid", ident("wire", self.key, number)]])
        for x, y in self._junctions():
            body.append(["junction", ["at", x, y], ["diameter", 0], ["color", 0, 0, 0, 0],
                         ["uuid", ident("junction", self.key, x, y)]])
        return [
            "kicad_sch", ["version", "20250114"], ["generator", Text("slotwise")], ["generator_version", Text("9.0")],
            ["uuid", self.uuid], ["paper", Text(self.paper)],
            ["title_block", ["title", Text(self.title)], ["rev", Text("B")], ["company", Text("Slotwise")],
             *[["comment", n + 1, Text(words)] for n, words in enumerate(notice)]],
            ["lib_symbols", *lib], *body, ["embedded_fonts", "no"],
        ]
