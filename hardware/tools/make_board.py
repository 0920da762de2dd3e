"""Writes the board: outline, slots, parts, tracks, areas, rules.

    /usr/bin/python3 hardware/tools/make_board.py [folder]

Needs the Python module pcbnew that comes with KiCad. Positions are placement.py's, distances
domains.py's; tracks are the router's. A board made by hand from the same netlist may well be better.
"""

import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import pcbnew  # noqa: E402
from domains import classes, rules  # noqa: E402
from netlist import HARDWARE, load, parts_list  # noqa: E402
from placement import BARRIER, HEIGHT, LIVE_EDGE, PLACES, SAFE_EDGE, SLOTS, WIDTH  # noqa: E402
from router import DRILL, GRID, TRACK, VIA, Router  # noqa: E402

INSTALLED = Path("/usr/share/kicad/footprints")
LAYERS = (pcbnew.F_Cu, pcbnew.B_Cu)


def mm(x, y):
    return pcbnew.VECTOR2I(pcbnew.FromMM(float(x)), pcbnew.FromMM(float(y)))


def outline(board):
    def segment(x1, y1, x2, y2):
        line = pcbnew.PCB_SHAPE(board, pcbnew.SHAPE_T_SEGMENT)
        line.SetStart(mm(x1, y1))
        line.SetEnd(mm(x2, y2))
        line.SetLayer(pcbnew.Edge_Cuts)
        line.SetWidth(pcbnew.FromMM(0.1))
        board.Add(line)

    def arc(x1, y1, xm, ym, x2, y2):
        shape = pcbnew.PCB_SHAPE(board, pcbnew.SHAPE_T_ARC)
        shape.SetArcGeometry(mm(x1, y1), mm(xm, ym), mm(x2, y2))
        shape.SetLayer(pcbnew.Edge_Cuts)
        shape.SetWidth(pcbnew.FromMM(0.1))
        board.Add(shape)

    for x1, y1, x2, y2 in ((0, 0, WIDTH, 0), (WIDTH, 0, WIDTH, HEIGHT), (WIDTH, HEIGHT, 0, HEIGHT), (0, HEIGHT, 0, 0)):
        segment(x1, y1, x2, y2)
    for x, y1, y2, w in SLOTS:
        r = w / 2
        segment(x - r, y1 + r, x - r, y2 - r)
        segment(x + r, y1 + r, x + r, y2 - r)
        arc(x - r, y1 + r, x, y1, x + r, y1 + r)
        arc(x - r, y2 - r, x, y2, x + r, y2 - r)


def words(board, text, x, y, size=1.2, layer=pcbnew.F_SilkS):
    item = pcbnew.PCB_TEXT(board)
    item.SetText(text)
    item.SetPosition(mm(x, y))
    item.SetLayer(layer)
    item.SetTextSize(pcbnew.VECTOR2I(pcbnew.FromMM(size), pcbnew.FromMM(size)))
    item.SetTextThickness(pcbnew.FromMM(0.15))
    board.Add(item)


def place(board, net, nets, listed):
    for ref, (x, y, turn) in PLACES.items():
        library, name = listed[ref]["footprint"].split(":")
        folder = HARDWARE / "board" / "slotwise.pretty" if library == "slotwise" else INSTALLED / f"{library}.pretty"
        part = pcbnew.FootprintLoad(str(folder), name)
        if part is None:
            raise FileNotFoundError(f"{library}:{name}")
        part.SetFPIDAsString(listed[ref]["footprint"])
        part.SetReference(ref)
        part.SetValue(listed[ref]["value"])
        part.Value().SetVisible(False)
        board.Add(part)
        part.SetOrientationDegrees(turn)
        spots = [pad.GetPosition() for pad in part.Pads()]
        cx = (min(p.x for p in spots) + max(p.x for p in spots)) // 2
        cy = (min(p.y for p in spots) + max(p.y for p in spots)) // 2
        want = mm(x, y)
        part.Move(pcbnew.VECTOR2I(want.x - cx, want.y - cy))
        part.Reference().SetTextSize(pcbnew.VECTOR2I(pcbnew.FromMM(0.8), pcbnew.FromMM(0.8)))
        part.Reference().SetTextThickness(pcbnew.FromMM(0.12))
        for pad in part.Pads():
            name = net.net(ref, pad.GetNumber())
            if name:
                pad.SetNet(nets[name])


def route(board, net, kinds, nets, say=print):
    router = Router(WIDTH, HEIGHT, kinds, {"LIVE": (0, LIVE_EDGE), "SAFE": (SAFE_EDGE, WIDTH)}, SLOTS)
    span = {}
    for part in board.GetFootprints():
        for pad in part.Pads():
            box = pad.GetBoundingBox()
            name = pad.GetNetname()
            layers = tuple(k for k, layer in enumerate(LAYERS) if pad.IsOnLayer(layer))
            x1, y1 = pcbnew.ToMM(box.GetLeft()), pcbnew.ToMM(box.GetTop())
            x2, y2 = pcbnew.ToMM(box.GetRight()), pcbnew.ToMM(box.GetBottom())
            hole = pad.GetDrillSize().x > 0
            router.pad(name, layers or (0, 1), x1, y1, x2, y2, hole)
            if name:
                span.setdefault(name, []).append(((x1 + x2) / 2, (y1 + y2) / 2))
    length = {n: max(a for a, _ in p) - min(a for a, _ in p) + max(b for _, b in p) - min(b for _, b in p)
              for n, p in span.items()}
    filled = {"GND", "STAR", "DRIVE_COM"}
    order = sorted((n for n in span if len(span[n]) > 1 and n not in filled),
                   key=lambda n: (kinds.get(n, "SAFE") == "SAFE", length[n]))
    order += [n for n in ("DRIVE_COM", "STAR", "GND") if n in span]
    began = time.time()
    still_open = router.route_all(order, say=say)
    say(f"routed {len(order) - len(still_open)} of {len(order)} nets in {time.time() - began:.0f} s; open: {still_open}")
    for name, runs in router.tracks.items():
        for layer, (i1, j1), (i2, j2) in runs:
            track = pcbnew.PCB_TRACK(board)
            track.SetStart(mm(i1 * GRID, j1 * GRID))
            track.SetEnd(mm(i2 * GRID, j2 * GRID))
            track.SetWidth(pcbnew.FromMM(TRACK))
            track.SetLayer(LAYERS[layer])
            track.SetNet(nets[name])
            board.Add(track)
        for i, j in set(router.vias.get(name, ())):
            via = pcbnew.PCB_VIA(board)
            via.SetPosition(mm(i * GRID, j * GRID))
            via.SetDrill(pcbnew.FromMM(DRILL))
            via.SetWidth(pcbnew.FromMM(VIA))
            via.SetNet(nets[name])
            board.Add(via)
    return still_open


def project(kinds):
    """The project file: classes of nets, their nets, severities."""
    names = sorted({*kinds.values()})
    base = {"clearance": 0.2, "track_width": 0.2, "via_diameter": 0.6, "via_drill": 0.3, "bus_width": 12,
            "wire_width": 6, "line_style": 0, "microvia_diameter": 0.3, "microvia_drill": 0.1,
            "diff_pair_gap": 0.25, "diff_pair_via_gap": 0.25, "diff_pair_width": 0.2,
            "pcb_color": "rgba(0, 0, 0, 0.000)", "schematic_color": "rgba(0, 0, 0, 0.000)"}
    return {
        "board": {"design_settings": {"defaults": {}, "rules": {
            "min_clearance": 0.15, "min_copper_edge_clearance": 0.5, "min_track_width": 0.2, "min_via_diameter": 0.5,
            "min_through_hole_diameter": 0.3, "min_hole_to_hole": 0.25, "min_hole_clearance": 0.2},
            "rule_severities": {"lib_footprint_mismatch": "ignore", "lib_footprint_issues": "ignore"}}},
        "meta": {"filename": "slotwise.kicad_pro", "version": 3},
        "net_settings": {
            "classes": [{**base, "name": "Default", "priority": 2147483647}]
            + [{**base, "name": name, "priority": k} for k, name in enumerate(names)],
            "meta": {"version": 4},
            "netclass_patterns": [{"netclass": kind, "pattern": name} for name, kind in sorted(kinds.items())],
        },
    }


def build(folder):
    net, listed = load(), parts_list()
    kinds = classes(net)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "slotwise.kicad_dru").write_text(rules(), encoding="utf-8")
    (folder / "slotwise.kicad_pro").write_text(json.dumps(project(kinds), indent=2) + "\n", encoding="utf-8")
    board = pcbnew.NewBoard(str(folder / "slotwise.kicad_pcb"))
    board.SetCopperLayerCount(2)
    nets = {}
    for name in net.nets:
        item = pcbnew.NETINFO_ITEM(board, name)
        board.Add(item)
        nets[name] = item
    outline(board)
    place(board, net, nets, listed)
    still_open = route(board, net, kinds, nets)
    words(board, "MAINS", 70, 107.5, 1.5)
    words(board, "8 mm: nothing here", BARRIER, 107.5, 0.8)
    words(board, "MAY BE TOUCHED", 97, 107.5, 1.2)
    words(board, "Slotwise rev A  CERN-OHL-P-2.0  not certified", 30, 107.5, 1.0)
    pcbnew.SaveBoard(str(folder / "slotwise.kicad_pcb"), board)
    return still_open


if __name__ == "__main__":
    build(Path(sys.argv[1]) if len(sys.argv) > 1 else HARDWARE / "board")
