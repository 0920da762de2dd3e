"""Writes the board: outline, slots, parts, tracks, areas, rules.

    /usr/bin/python3 hardware/tools/make_board.py [folder]

Needs the Python module pcbnew that comes with KiCad. Positions are placement.py's, distances
domains.py's; tracks are those of router.cpp, which needs a C++ compiler. A board made by hand from the same netlist may well be better.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import pcbnew  # noqa: E402
from domains import classes, clearance, rules  # noqa: E402
from netlist import HARDWARE, load, parts_list  # noqa: E402
from placement import BARRIER, HEIGHT, LIVE_EDGE, PLACES, SAFE_EDGE, SLOTS, WIDTH  # noqa: E402

GRID, TRACK, VIA, DRILL, EDGE = 0.25, 0.2, 0.6, 0.3, 0.5
AREA_BACK = 1.4  # the ground area begins so far behind the edge of the strip
POCKETS = (("U701", "18"),)  # pads that tracks cut off from the ground area: joined by a track alone
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
        if x == BARRIER:
            # Couplers stand close above each other: the name goes beside the pads that may be touched.
            part.Reference().SetPosition(mm(x + 7.4, y))
            part.Reference().SetTextAngleDegrees(90)
        elif turn == 180 and ref.startswith("R"):
            # Turned round for its pins' sake: its name stays above it, out of the row below.
            part.Reference().SetPosition(mm(x, y - 1.65))
        for pad in part.Pads():
            name = net.net(ref, pad.GetNumber())
            if name:
                pad.SetNet(nets[name])


def problem(board, kinds):
    """What router.cpp reads; the nets in its numbering."""
    span, lines = {}, []
    names = sorted({pad.GetNetname() for pad in board.GetPads() if pad.GetNetname()})
    number = {name: k for k, name in enumerate(names)}
    sorts = sorted({kinds.get(name, "SAFE") for name in names})
    for part in board.GetFootprints():
        for pad in part.Pads():
            box, name = pad.GetBoundingBox(), pad.GetNetname()
            layers = sum(1 << k for k, layer in enumerate(LAYERS) if pad.IsOnLayer(layer)) or 3
            edges = [pcbnew.ToMM(e) for e in (box.GetLeft(), box.GetTop(), box.GetRight(), box.GetBottom())]
            hole = int(pad.GetDrillSize().x > 0)
            # Where a track may end: well within the copper, whose corners are round.
            round_off = 0.4 if hole else 0.12
            dx, dy = (edges[2] - edges[0]) / 2 * round_off, (edges[3] - edges[1]) / 2 * round_off
            inside = [edges[0] + dx, edges[1] + dy, edges[2] - dx, edges[3] - dy]
            numbers = " ".join(f"{e:.4f}" for e in (*edges, *inside))
            lines.append(f"pad {number.get(name, -1)} {layers} {numbers} {hole}")
            if name:
                span.setdefault(name, []).append(((edges[0] + edges[2]) / 2, (edges[1] + edges[3]) / 2))
    length = {n: max(a for a, _ in p) - min(a for a, _ in p) + max(b for _, b in p) - min(b for _, b in p)
              for n, p in span.items()}
    last = ["DRIVE_COM", "STAR", "GND"]
    order = sorted((n for n in names if n not in last), key=lambda n: (kinds.get(n, "SAFE") == "SAFE", length[n])) + last
    head = [f"grid {int(WIDTH / GRID) + 1} {int(HEIGHT / GRID) + 1} {GRID} {TRACK} {VIA} {EDGE}",
            f"kinds {len(sorts)} " + " ".join(str(clearance(a, b)) for a in sorts for b in sorts)]
    for k, sort in enumerate(sorts):
        low, high = (SAFE_EDGE, WIDTH) if sort == "SAFE" else (0, LIVE_EDGE)
        head.append(f"limits {k} {int(low / GRID + 0.99)} {int(high / GRID)}")
    for box in ((-1, -1, EDGE, HEIGHT + 1), (WIDTH - EDGE, -1, WIDTH + 1, HEIGHT + 1), (-1, -1, WIDTH + 1, EDGE),
                (-1, HEIGHT - EDGE, WIDTH + 1, HEIGHT + 1)):
        head.append("block " + " ".join(map(str, box)))
    for part in board.GetFootprints():
        for zone in part.Zones():
            box = zone.GetBoundingBox()
            box.Inflate(pcbnew.FromMM(VIA / 2 + 0.1))
            head.append("block " + " ".join(f"{pcbnew.ToMM(e):.3f}" for e in (box.GetLeft(), box.GetTop(), box.GetRight(), box.GetBottom())))
    for x, y1, y2, w in SLOTS:
        head.append(f"block {x - w} {y1 - w} {x + w} {y2 + w}")
    for name in order:
        routed = int(len(span[name]) > 1)
        head.append(f"net {number[name]} {sorts.index(kinds.get(name, 'SAFE'))} {routed}")
    return "\n".join([*head, *lines, "go"]) + "\n", names


def route(board, kinds, nets, say=print):
    """Tracks of all nets; the nets that stayed open."""
    text, names = problem(board, kinds)
    with tempfile.TemporaryDirectory() as folder:
        program = Path(folder) / "router"
        subprocess.run(["g++", "-O2", "-std=c++17", "-o", str(program), str(Path(__file__).with_name("router.cpp"))], check=True)
        out = subprocess.run([str(program)], input=text, capture_output=True, text=True, check=True).stdout
    still_open = []
    for line in out.splitlines():
        word, net, *rest = line.split()
        name, rest = names[int(net)], [int(value) for value in rest]
        if word == "open":
            still_open.append(name)
        elif word == "track":
            track = pcbnew.PCB_TRACK(board)
            track.SetStart(mm(rest[1] * GRID, rest[2] * GRID))
            track.SetEnd(mm(rest[3] * GRID, rest[4] * GRID))
            track.SetWidth(pcbnew.FromMM(TRACK))
            track.SetLayer(LAYERS[rest[0]])
            track.SetNet(nets[name])
            board.Add(track)
        else:
            via = pcbnew.PCB_VIA(board)
            via.SetPosition(mm(rest[0] * GRID, rest[1] * GRID))
            via.SetDrill(pcbnew.FromMM(DRILL))
            via.SetWidth(pcbnew.FromMM(VIA))
            via.SetNet(nets[name])
            board.Add(via)
    say(f"open: {sorted(still_open)}")
    return still_open


def ground_area(board, nets):
    """Ground under everything that may be touched, on the solder side, no nearer to the barrier than its pads."""
    corners = ((SAFE_EDGE + AREA_BACK, EDGE), (WIDTH - EDGE, EDGE), (WIDTH - EDGE, HEIGHT - EDGE), (SAFE_EDGE + AREA_BACK, HEIGHT - EDGE))
    zone = pcbnew.ZONE(board)
    zone.SetLayer(pcbnew.B_Cu)
    zone.SetNet(nets["GND"])
    zone.SetLocalClearance(pcbnew.FromMM(0.25))
    zone.SetMinThickness(pcbnew.FromMM(0.25))
    zone.SetPadConnection(pcbnew.ZONE_CONNECTION_THERMAL)
    zone.SetThermalReliefGap(pcbnew.FromMM(0.3))
    zone.SetThermalReliefSpokeWidth(pcbnew.FromMM(0.3))
    zone.SetIslandRemovalMode(pcbnew.ISLAND_REMOVAL_MODE_ALWAYS)
    outline = zone.Outline()
    outline.NewOutline()
    for x, y in corners:
        outline.Append(mm(x, y))
    board.Add(zone)
    for ref, number in POCKETS:
        board.FindFootprintByReference(ref).FindPadByNumber(number).SetLocalZoneConnection(pcbnew.ZONE_CONNECTION_NONE)
    pcbnew.ZONE_FILLER(board).Fill(board.Zones())


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
            # Legends of the couplers cross the slots; footprints are placed from the installed libraries.
            "rule_severities": {"lib_footprint_mismatch": "ignore", "lib_footprint_issues": "ignore",
                                "silk_edge_clearance": "ignore", "silk_overlap": "ignore",
                                "silk_over_copper": "ignore"}}},
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
    still_open = route(board, kinds, nets)
    ground_area(board, nets)
    words(board, "MAINS", 66, 108.6, 1.5)
    words(board, "8 mm: nothing here", BARRIER, 108.6, 0.8)
    words(board, "MAY BE TOUCHED", 98, 108.6, 1.2)
    words(board, "Slotwise rev B  CERN-OHL-P-2.0  not certified", 30, 107.5, 1.0)
    pcbnew.SaveBoard(str(folder / "slotwise.kicad_pcb"), board)
    return still_open


if __name__ == "__main__":
    build(Path(sys.argv[1]) if len(sys.argv) > 1 else HARDWARE / "board")
