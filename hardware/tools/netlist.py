"""The netlist: exported by kicad-cli, kept as netlist.csv, loaded by every check.

    python3 hardware/tools/netlist.py           writes hardware/netlist.csv from the schematic
    python3 hardware/tools/netlist.py --check   fails if it differs from the schematic

One row a pin: designator, pin, name of the pin, net. Names of nets are those of the sheets, without
the sheet's own path.
"""

import csv
import io
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from sexpr import find, find_all, parse  # noqa: E402

HARDWARE = Path(__file__).resolve().parents[1]
FILE = HARDWARE / "netlist.csv"
COLUMNS = ["designator", "pin", "name", "net"]


class Netlist:
    """Pins by part, parts by net, values by part."""

    def __init__(self, rows, values):
        self.rows = [tuple(row) for row in rows]
        self.values = dict(values)
        self.pins, self.nets = {}, {}
        for part, pin, _, net in self.rows:
            self.pins.setdefault(part, {})[pin] = net
            self.nets.setdefault(net, []).append((part, pin))

    def net(self, part, pin):
        return self.pins.get(part, {}).get(str(pin))

    def edited(self, part=None, pin=None, net=None, without=None, value=None):
        """A copy with one pin on another net, without a part, or with another value."""
        rows = [row for row in self.rows if row[0] != without]
        if net is not None:
            rows = [(p, n, name, net if (p, n) == (part, str(pin)) else old) for p, n, name, old in rows]
        values = {k: v for k, v in self.values.items() if k != without}
        if value is not None:
            values[part] = value
        return Netlist(rows, values)


def parts_list(path=HARDWARE / "parts.csv"):
    """Rows of the parts list by designator."""
    found = {}
    with path.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            for ref in row["designators"].split():
                found[ref] = row
    return found


def load(path=FILE):
    """The kept netlist, with the values of the parts list."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = [[row[c] for c in COLUMNS] for row in csv.DictReader(file)]
    return Netlist(rows, {ref: row["value"] for ref, row in parts_list().items()})


def export(schematic=HARDWARE / "board" / "slotwise.kicad_sch"):
    """Rows and values as kicad-cli reads them from the schematic."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.net"
        subprocess.run(["kicad-cli", "sch", "export", "netlist", "--format", "kicadsexpr", "-o", str(out),
                        str(schematic)], check=True, stdout=subprocess.DEVNULL)
        tree = parse(out.read_text(encoding="utf-8"))
    values = {str(find(c, "ref")[1]): str(find(c, "value")[1]) for c in find_all(find(tree, "components"), "comp")}
    rows = []
    for net in find_all(find(tree, "nets"), "net"):
        name = str(find(net, "name")[1]).rsplit("/", 1)[-1]
        for node in find_all(net, "node"):
            function = find(node, "pinfunction")
            pin_name = str(function[1]) if function else ""
            rows.append([str(find(node, "ref")[1]), str(find(node, "pin")[1]), pin_name, name])
    rows.sort(key=lambda row: (row[0].rstrip("0123456789"), int("0" + row[0].lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")),
                               int(row[1]) if row[1].isdigit() else 0))
    return rows, values


def text(rows):
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(rows)
    return out.getvalue()


def main():
    rows, values = export()
    listed = {ref: row["value"] for ref, row in parts_list().items()}
    if values != listed:
        both = set(values) ^ set(listed) | {k for k in values if values[k] != listed.get(k)}
        sys.exit(f"schematic and parts list differ in {sorted(both)}")
    if "--check" in sys.argv:
        if not FILE.exists() or FILE.read_text(encoding="utf-8") != text(rows):
            sys.exit("netlist.csv is not that of the schematic: run hardware/tools/netlist.py")
        print(f"netlist.csv is that of the schematic: {len(rows)} pins, {len(values)} parts")
    else:
        FILE.write_text(text(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
