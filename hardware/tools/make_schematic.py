"""Writes the schematic: hardware/board/*.kicad_sch, the project file and the symbol library.

    python3 hardware/tools/make_schematic.py [folder]
    python3 hardware/tools/make_schematic.py --library    takes the symbols anew from the installed KiCad

Values and footprints come from parts.csv, nets of the controller from pins.csv; everything else is
in design/. A second run writes the same bytes, so a changed sheet shows in the diff.
"""

import csv
import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from design import adc, controller, drive, isolation, leads, memory, panel, power, probe, strings  # noqa: E402
from library import library, symbols  # noqa: E402
from sexpr import Text, ident, write  # noqa: E402
from sheet import Sheet, effects  # noqa: E402

HARDWARE = Path(__file__).resolve().parents[1]
PROJECT = "slotwise"
NOTICE = ["CERN-OHL-P-2.0. A design on paper: nothing was built or measured.",
          "Not certified, not listed. Mains: an error can kill."]

SHEETS = [
    ("leads", "1 Leads and reference resistor", leads),
    ("strings", "2 Strings and star", strings),
    ("adc", "3 Converter and oscillator", adc),
    ("isolation", "4 Barrier of the star", isolation),
    ("probe", "5 Probe P1 and relay logic", probe),
    ("drive", "6 Drive P2", drive),
    ("controller", "7 Controller", controller),
    ("memory", "8 Record memory and clock", memory),
    ("panel", "9 Lamps, button, display", panel),
    ("power", "10 Battery and 5 V", power),
]


def parts():
    """Rows of the parts list by designator."""
    found = {}
    with (HARDWARE / "parts.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            for ref in row["designators"].split():
                if ref in found:
                    raise ValueError(f"{ref} is listed twice")
                found[ref] = row
    return found


BLOCKS = {  # where each sheet stands on the first page: x, y, width, height
    "leads": (25.4, 63.5), "strings": (76.2, 63.5), "adc": (127.0, 63.5), "isolation": (177.8, 63.5),
    "probe": (177.8, 92.71), "drive": (177.8, 121.92), "controller": (228.6, 63.5),
    "memory": (228.6, 92.71), "panel": (228.6, 121.92), "power": (228.6, 34.29),
}
WIDE, HIGH = 38.1, 20.32

INSIDE = {
    "leads": "J101 J102\nR_cal R101, R102\nNARROW WIDE\nINNER_GROUND INNER_CLIP", "strings": "R201 to R236\nAIN0 to AIN3\nSTAR",
    "adc": "U301 Y301\nSTAR_SCK MOSI MISO\nCS DRDY SYNC", "isolation": "PS401 U402 U401\ncrosses the barrier",
    "probe": "R501 to R503\nK501 K502 U501\ncrosses the barrier", "drive": "PS601 U602 U603 U604\nK601 K602\ncrosses the barrier",
    "controller": "U701\npins.csv", "memory": "U801 U802\nNOR and I2C", "panel": "D901 to D906\nSW901 J901", "power": "BT1001 U1001\nVSYS +5V",
}


def root(sheets):
    """The first page: one block a sheet, the barrier between."""
    body = []
    for number, sheet in enumerate(sheets):
        x, y = BLOCKS[sheet.key]
        body.append([
            "sheet", ["at", x, y], ["size", WIDE, HIGH], ["exclude_from_sim", "no"], ["in_bom", "yes"],
            ["on_board", "yes"], ["dnp", "no"], ["stroke", ["width", 0.2], ["type", "solid"]],
            ["fill", ["color", 0, 0, 0, 0.0]], ["uuid", sheet.block],
            ["property", Text("Sheetname"), Text(sheet.title), ["at", x, y - 0.9, 0],
             effects(["justify", "left", "bottom"])],
            ["property", Text("Sheetfile"), Text(f"{sheet.key}.kicad_sch"), ["at", x, y + HIGH + 0.9, 0],
             effects(["justify", "left", "top"])],
            ["instances", ["project", Text(PROJECT), ["path", Text(f"/{ident('sheet', 'slotwise')}"),
                                                      ["page", Text(str(number + 2))]]]],
        ])

    def words(text, x, y, size=1.27):
        body.append(["text", Text(text), ["exclude_from_sim", "no"], ["at", x, y, 0],
                     effects(["justify", "left", "top"], size=size), ["uuid", ident("root", x, y)]])

    words("Slotwise: plug-in ground and polarity tester, revision B", 25.4, 20.32, 3)
    words("A design on paper. Computed and simulated; nothing was built or measured. Not certified, not listed.\n"
          "It connects to the mains: an error in building it can kill. Read hardware/safety.md first.", 25.4, 30.48, 1.6)
    words("Sheets are joined by the global labels on them. Left of the line everything is at mains potential (star,\n"
          "probe, drive); right of it everything may be touched. Crossing it: PS401, U401, PS601, U602, U604, K501, K502, K601, K602.",
          25.4, 43.18)
    for key, text in INSIDE.items():
        words(text, BLOCKS[key][0] + 2.54, BLOCKS[key][1] + 2.54)
    x = 222.25
    body.append(["polyline", ["pts", ["xy", x, 27.94], ["xy", x, 160.02]],
                 ["stroke", ["width", 0.5], ["type", "dash_dot"]], ["uuid", ident("root", "barrier")]])
    return [
        "kicad_sch", ["version", "20250114"], ["generator", Text(PROJECT)], ["generator_version", Text("9.0")],
        ["uuid", ident("sheet", "slotwise")], ["paper", Text("A4")],
        ["title_block", ["title", Text("Slotwise")], ["rev", Text("B")], ["company", Text("Slotwise")],
         *[["comment", n + 1, Text(line)] for n, line in enumerate(NOTICE)]],
        ["lib_symbols"], *body, ["sheet_instances", ["path", Text("/"), ["page", Text("1")]]], ["embedded_fonts", "no"],
    ]


def build():
    """Every file by its name."""
    made, listed = symbols(anew="--library" in sys.argv), parts()
    sheets = []
    for page, (key, title, module) in enumerate(SHEETS, 2):
        sheet = Sheet(key, title, page, made, listed, PROJECT)
        module.draw(sheet)
        sheets.append(sheet)
    placed = {ref for sheet in sheets for ref, _ in sheet.placed if not ref.startswith("#")}
    if placed != set(listed):
        raise ValueError(f"not placed: {sorted(set(listed) - placed)}; not listed: {sorted(placed - set(listed))}")
    files = {f"{sheet.key}.kicad_sch": write(sheet.document(NOTICE)) + "\n" for sheet in sheets}
    files[f"{PROJECT}.kicad_sch"] = write(root(sheets)) + "\n"
    files[f"{PROJECT}.kicad_sym"] = write(library(made)) + "\n"
    files["sym-lib-table"] = (
        f'(sym_lib_table\n\t(version 7)\n\t(lib (name "{PROJECT}")(type "KiCad")'
        f'(uri "${{KIPRJMOD}}/{PROJECT}.kicad_sym")(options "")(descr ""))\n)\n')
    files["fp-lib-table"] = (
        f'(fp_lib_table\n\t(version 7)\n\t(lib (name "{PROJECT}")(type "KiCad")'
        f'(uri "${{KIPRJMOD}}/{PROJECT}.pretty")(options "")(descr ""))\n)\n')
    return files


def main():
    names = [word for word in sys.argv[1:] if not word.startswith("--")]
    folder = Path(names[0]) if names else HARDWARE / "board"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in build().items():
        (folder / name).write_text(text, encoding="utf-8")
    project = folder / f"{PROJECT}.kicad_pro"
    if not project.exists():
        project.write_text(json.dumps({"meta": {"filename": project.name, "version": 3}}, indent=2) + "\n",
                           encoding="utf-8")


if __name__ == "__main__":
    main()
