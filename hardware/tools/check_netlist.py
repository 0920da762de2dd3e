"""Safety rules over the netlist.

    python3 hardware/tools/check_netlist.py

Each rule returns what it found wrong, in words; none wrong is an empty list. The rules know the
circuit's shape, not its drawing. What they rest on: protective impedance is three resistors in
series (hardware notes, common practice), reinforced insulation at every crossing.
Limits: a rule sees nets and values, no distances: those are the board's rules.
"""

import re
import sys
from itertools import combinations
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from netlist import HARDWARE, load, parts_list  # noqa: E402

LEADS = {"narrow": "NARROW", "wide": "WIDE", "ground": "INNER_GROUND", "clip": "INNER_CLIP"}
OUTSIDE = ["NARROW", "WIDE", "GROUND_PIN", "CLIP"]

# Parts that cross the barrier: pins on the safe side, pins on the other.
BARRIER = {
    "PS401": ({"22", "23", "2", "3"}, {"14", "16"}),
    "PS601": ({"22", "23", "2", "3"}, {"14", "16"}),
    "U401": ({str(n) for n in range(1, 9)}, {str(n) for n in range(9, 17)}),
    "U602": ({"1", "2"}, {"3", "4"}),
    "U604": ({"1", "2"}, {"3", "4"}),
    **{k: ({"1", "2", "3"}, {"4", "6"}) for k in ("K501", "K502", "K601", "K602")},
}
RELAYS = ["K501", "K502", "K601", "K602"]


def ohms(value):
    """330k, 2k4, 10R, 47R, 1k as a number."""
    match = re.fullmatch(r"(\d+)([RkM])(\d*)", value)
    if not match:
        raise ValueError(f"not a resistance: {value}")
    scale = {"R": 1.0, "k": 1e3, "M": 1e6}[match[2]]
    return float(f"{match[1]}.{match[3] or 0}") * scale


def farads(value):
    """10n, 2u2, 100n as a number."""
    match = re.fullmatch(r"(\d+)([pnu])(\d*)", value)
    if not match:
        raise ValueError(f"not a capacitance: {value}")
    return float(f"{match[1]}.{match[3] or 0}") * {"p": 1e-12, "n": 1e-9, "u": 1e-6}[match[2]]


def links(net, without=(), closed=True):
    """Pairs of nets that a part joins: all pins of a part, but for the barrier's parts each side
    by itself and for relays the contact if `closed`. The careful reading: a chip is a short."""
    found = []
    for part, pins in net.pins.items():
        if part in without:
            continue
        groups = [set(pins)]
        if part in BARRIER:
            groups = [set(pins) & side for side in BARRIER[part]]
            if part in RELAYS and not closed:
                groups = groups[:1]
        for group in groups:
            for a, b in combinations(sorted({pins[p] for p in group}), 2):
                found.append((a, b, part))
    return found


def reach(net, start, without=(), closed=True, stop=()):
    """Every net that can be reached from `start`; what lies behind a net of `stop` is not."""
    joined = {}
    for a, b, _ in links(net, without, closed):
        joined.setdefault(a, set()).add(b)
        joined.setdefault(b, set()).add(a)
    seen, stack = {start}, [start]
    while stack:
        for other in joined.get(stack.pop(), ()):
            if other not in seen:
                seen.add(other)
                if other not in stop:
                    stack.append(other)
    return seen


def fewest(net, start, goal, counts, without=(), is_open=()):
    """Fewest parts of `counts` on any way from `start` to `goal`; None without a way."""
    cost, work = {start: 0}, [start]
    pairs = [link for link in links(net, without) if link[2] not in is_open]
    while work:
        here = min(work, key=cost.get)
        work.remove(here)
        for a, b, part in pairs:
            if here not in (a, b):
                continue
            other = b if here == a else a
            price = cost[here] + (part in counts)
            if price < cost.get(other, 1 << 30):
                cost[other] = price
                work.append(other)
    return cost.get(goal)


def string_parts(row):
    return [f"R2{row}{k}" for k in (1, 2, 3)]


def strings(net):
    """Each lead reaches the converter through its own three resistors and in no other way."""
    wrong = []
    high = {p for row in range(4) for p in string_parts(row)}
    for row, (lead, name) in enumerate(LEADS.items()):
        for goal in ("STAR", f"AIN{row}P", f"AIN{row}N"):
            count = fewest(net, name, goal, high)
            if count is None:
                wrong.append(f"{lead}: no way to {goal}")
            elif count < 3:
                wrong.append(f"{lead}: only {count} string resistors to {goal}")
        ends = [net.net(p, n) for p in string_parts(row) for n in (1, 2)]
        if len(set(ends)) != 4 or ends.count(name) != 1:
            wrong.append(f"{lead}: {string_parts(row)} are not one chain from {name}")
        for part in string_parts(row):
            if net.values.get(part) != "330k":
                wrong.append(f"{part} is {net.values.get(part)}, not 330k")
        expected = {
            f"R2{row}4": (ends[-1], "STAR"), f"R2{row}5": (ends[-1], f"AIN{row}P"),
            f"R2{row}6": ("STAR", f"AIN{row}N"), f"C2{row}1": (f"AIN{row}P", f"AIN{row}N"),
        }
        for part, nets in expected.items():
            if (net.net(part, 1), net.net(part, 2)) != nets:
                wrong.append(f"{part} is not between {nets[0]} and {nets[1]}")
        for pin, goal in ((("3", "6", "7", "10")[row], "P"), (("4", "5", "8", "9")[row], "N")):
            if net.net("U301", pin) != f"AIN{row}{goal}":
                wrong.append(f"U301 pin {pin} is not AIN{row}{goal}")
    return wrong


def barrier(net):
    """No way from mains to the safe side but through insulation, with every relay closed."""
    wrong = []
    for part, (safe, live) in BARRIER.items():
        if not {p for p in net.pins.get(part, {})} <= safe | live:
            wrong.append(f"{part} has pins that are on no side")
    for start in (*OUTSIDE, "STAR", "DRIVE_COM"):
        touched = reach(net, start) & {"GND", "+3V3", "+5V", "VSYS"}
        if touched:
            wrong.append(f"{start} reaches {sorted(touched)} without insulation")
    return wrong


def apart(net):
    """The drive's supply does not touch the star: strings must sum to zero while it drives."""
    high = {p for row in range(4) for p in string_parts(row)}
    found = reach(net, "STAR", without=high)
    return [f"the star reaches {n} without a string" for n in ("DRIVE_COM", *OUTSIDE, "INNER_GROUND", "INNER_CLIP") if n in found]


def reference(net):
    """R_cal between the ground pin and everything else on ground; R102 likewise in the clip lead."""
    wrong = []
    for part, outer, inner, pad in (("R101", "GROUND_PIN", "INNER_GROUND", "J101"), ("R102", "CLIP", "INNER_CLIP", "J102")):
        if {net.net(part, 1), net.net(part, 2)} != {outer, inner}:
            wrong.append(f"{part} is not between {outer} and {inner}")
        if net.values.get(part) != "10R":
            wrong.append(f"{part} is {net.values.get(part)}, not 10R")
        others = [p for p, _ in net.nets.get(outer, []) if p not in (pad, part)]
        if others:
            wrong.append(f"{others} are on {outer}: behind {part} it belongs")
    return wrong


def probe(net):
    """P1: three resistors and two relays in series, and no other way that they bridge."""
    wrong = []
    three = ["R501", "R502", "R503"]
    chain = [net.net(p, n) for p in three for n in (1, 2)]
    chain += [net.net("K501", 6), net.net("K501", 4), net.net("K502", 6), net.net("K502", 4)]
    if chain[0] != "NARROW" or chain[-1] != "INNER_GROUND":
        wrong.append("P1 does not run from NARROW to INNER_GROUND")
    inner = chain[1:-1]
    if any(a != b for a, b in zip(inner[::2], inner[1::2])) or len(set(inner)) != 4:
        wrong.append("P1 is not R501 R502 R503 K501 K502 in series")
    for node in set(inner):
        if len(net.nets.get(node, [])) != 2:
            wrong.append(f"P1: {node} has another part on it")
    for part in three:
        if net.values.get(part) != "30k":
            wrong.append(f"{part} is {net.values.get(part)}, not 30k")
    return wrong


LIMITER = {  # pins of one leg: part, pin, the node it is on
    "Q{n}1": {"2": "DRIVE_RETURN", "3": "s1", "1": "g1"}, "Q{n}2": {"2": "out", "3": "s2", "1": "g2"},
    "R{n}1": {"1": "s1", "2": "m"}, "R{n}3": {"1": "m", "2": "s2"},
    "R{n}4": {"1": "s1", "2": "g1"}, "R{n}5": {"1": "g2", "2": "s2"},
    "R{n}2": {"1": "m", "2": "u1"}, "R{n}6": {"1": "u1", "2": "b1"},
    "R{n}8": {"1": "u2", "2": "m"}, "R{n}7": {"1": "b2", "2": "u2"},
    "R{n}9": {"1": "b1", "2": "s2"}, "R{n}0": {"1": "s1", "2": "b2"},
    "Q{n}3": {"1": "b1", "2": "s2", "3": "g1"}, "Q{n}4": {"1": "b2", "2": "s1", "3": "g2"},
}
LIMITER_VALUES = {"R{n}1": "787R", "R{n}3": "787R", "R{n}4": "470k", "R{n}5": "470k", "R{n}9": "100k", "R{n}0": "100k",
                  **{f"R{{n}}{k}": "140k" for k in "2678"}}


def drive(net):
    """P2: each leg a limiter and a relay; the supply stands between WIDE and DRIVE_RETURN."""
    wrong = []
    for n, relay, end in (("61", "K601", "INNER_GROUND"), ("62", "K602", "INNER_CLIP")):
        nodes = {}
        for pattern, pins in LIMITER.items():
            part = pattern.format(n=n)
            for pin, node in pins.items():
                at = net.net(part, pin)
                if node == "DRIVE_RETURN" and at != node:
                    wrong.append(f"{part} is not on DRIVE_RETURN")
                if nodes.setdefault(node, at) != at or at is None:
                    wrong.append(f"{part} pin {pin} is not where the limiter needs it")
        if len(set(nodes.values())) != len(nodes):
            wrong.append(f"limiter {n}: two of its nodes are one net")
        for pattern, value in LIMITER_VALUES.items():
            part = pattern.format(n=n)
            if net.values.get(part) != value:
                wrong.append(f"{part} is {net.values.get(part)}, not {value}")
        if (net.net(relay, 6), net.net(relay, 4)) != (nodes.get("out"), end):
            wrong.append(f"{relay} is not between its limiter and {end}")
        if len(net.nets.get(nodes.get("out"), [])) != 2:
            wrong.append(f"limiter {n}: something else between it and its relay")
    if net.net("R608", 1) != net.net("U603", 7) or net.net("R608", 2) != "WIDE":
        wrong.append("R608 is not between the bridge and WIDE")
    if net.values.get("R608") != "1k3":
        wrong.append(f"R608 is {net.values.get('R608')}, not 1k3")
    for part in ("R601", "U602", "U603", "U604", "PS601"):
        if "WIDE" in net.pins.get(part, {}).values():
            wrong.append(f"{part} is on WIDE")
    on_wide = sorted(p for p, _ in net.nets.get("WIDE", []))
    if on_wide != ["J101", "R211", "R608"]:
        wrong.append(f"on WIDE: {on_wide}")
    return wrong


DIVIDER = {"R602": ("14k", "+6V_DRIVE", "ref"), "R603": ("4k32", "ref", "joint"), "R630": ("5k62", "joint", "DRIVE_COM")}


def levels(net):
    """P2 has two levels: U604 bridges R630 of the reference, and is lit by P2_RAISE alone."""
    wrong = []
    nodes = {"ref": net.net("U601", 2), "joint": net.net("U604", 4)}
    for part, (value, one, other) in DIVIDER.items():
        ends = {nodes.get(one, one), nodes.get(other, other)}
        if {net.net(part, 1), net.net(part, 2)} != ends or len(ends) != 2:
            wrong.append(f"{part} is not where the levels of the drive need it")
        if net.values.get(part) != value:
            wrong.append(f"{part} is {net.values.get(part)}, not {value}")
    if net.net("U604", 3) != "DRIVE_COM":
        wrong.append("U604 does not bridge R630")
    if (net.net("R609", 1), net.net("R609", 2)) != ("P2_RAISE", net.net("U604", 1)) or net.net("U604", 2) != "GND":
        wrong.append("the LED of U604 does not stand between P2_RAISE and ground")
    fed = sorted(p for p, _ in net.nets.get("P2_RAISE", []))
    if fed != ["R609", "U701"]:
        wrong.append(f"on P2_RAISE: {fed}")
    if net.values.get("R601") != "220R":
        wrong.append(f"R601 is {net.values.get('R601')}, not 220R: 10.2 V and 4 mA must pass, and U601 not overheat")
    return wrong


def locks(net):
    """The LED of each relay takes its current from the line that starves another."""
    wrong = []
    want = {"K502": ("CLIP_N", "HOLD_N"), "K601": ("HOLD_N", "GROUND_N"), "K602": ("GROUND_N", "CLIP_N")}
    series = {"K502": "R507", "K601": "R604", "K602": "R605"}
    inputs = {"HOLD_N": ("5", "6", "P1_HOLD"), "GROUND_N": ("9", "8", "P2_GROUND"), "CLIP_N": ("11", "10", "P2_CLIP"),
              "TONE_N": ("13", "12", "P2_TONE")}
    for relay, (anode, cathode) in want.items():
        resistor = series[relay]
        if net.net(resistor, 2) != net.net(relay, 1) and net.net(resistor, 1) != net.net(relay, 1):
            wrong.append(f"{resistor} is not at the LED of {relay}")
        if anode not in (net.net(resistor, 1), net.net(resistor, 2)):
            wrong.append(f"{relay}: its LED takes its current from elsewhere than {anode}")
        if net.net(relay, 2) != cathode:
            wrong.append(f"{relay}: its LED does not end at {cathode}")
    for line, (pin, out, source) in inputs.items():
        if (net.net("U501", pin), net.net("U501", out)) != (source, line):
            wrong.append(f"{line} is not the inverse of {source}")
    for source, pull in (("P1_PUMP", "R508"), ("P1_HOLD", "R509"), ("P2_GROUND", "R510"), ("P2_CLIP", "R511"),
                         ("P2_TONE", "R512")):
        if {net.net(pull, 1), net.net(pull, 2)} != {source, "GND"}:
            wrong.append(f"{pull} does not pull {source} down")
    return wrong


def pump(net):
    """No direct current reaches the LED of relay A: seen from it through resistors and diodes alone
    there is ground and nothing that could feed it; the capacitors stand between."""
    wrong = []
    led = net.net("K501", 1)
    if led is None:
        return ["K501 has no LED"]
    passed_by = {p for p in net.pins if not p.startswith(("R", "D"))}
    feeds = {name for part in ("U501", "U701") for name in net.pins.get(part, {}).values()} | {"+3V3", "+5V", "VSYS"}
    found = (reach(net, led, without=passed_by, stop={"GND"}) & feeds) - {"GND"}
    if found:
        wrong.append(f"{sorted(found)} reaches the LED of relay A without a capacitor")
    if {net.net("R513", 1), net.net("R513", 2)} != {led, "GND"}:
        wrong.append("no bleeder at the LED of relay A")
    if net.net("K501", 2) != "GND":
        wrong.append("the LED of relay A does not end at ground")
    for diode, cap in (("D501", "C501"), ("D502", "C502")):
        if net.net(diode, 1) != "GND" or net.net(diode, 3) != net.net(cap, 2) or net.net(diode, 2) != net.net("R506", 1):
            wrong.append(f"{diode} is not wired as a pump behind {cap}")
    for part, value in (("C501", "1u"), ("C502", "1u"), ("C503", "470n"), ("R513", "1k5")):
        if net.values.get(part) != value:
            wrong.append(f"{part} is {net.values.get(part)}, not {value}: the relay would let go at another time")
    return wrong


def pins(net, table=None):
    """Pins of the controller as in pins.csv."""
    from design.controller import GPIO, nets
    wrong = []
    for gpio, name in (table or nets()).items():
        if gpio not in GPIO:
            continue
        at = net.net("U701", GPIO[gpio])
        if at != name:
            wrong.append(f"GPIO {gpio} is on {at}, pins.csv says {name}")
    return wrong


def parts(net, listed=None):
    """Every part is listed with the figures it is chosen by, and every listed part is there."""
    listed = parts_list() if listed is None else listed
    wrong = [f"{p} is not in the parts list" for p in net.pins if p not in listed]
    wrong += [f"{p} is not in the netlist" for p in listed if p not in net.pins]
    for ref, row in listed.items():
        if not row["value"] or not row["package"] or not row["footprint"] or not row["candidate"]:
            wrong.append(f"{ref}: value, package, footprint or candidate is missing")
        if not row["voltage"] and ref not in ("L1001",):
            wrong.append(f"{ref}: no voltage")
        if ref in BARRIER and "reinforced" not in row["approval"].lower():
            wrong.append(f"{ref} crosses the barrier and asks for no reinforced insulation")
        if ref in BARRIER and not row["never"]:
            wrong.append(f"{ref} crosses the barrier and forbids no substitute")
    for row in range(4):
        for ref in string_parts(row):
            volts = float(listed.get(ref, {"voltage": "0"})["voltage"].split()[0])
            # One of three shorted: half of the peak of 240 V on each of the other two.
            if volts < 240 * 2 ** 0.5 / 2:
                wrong.append(f"{ref}: {volts} V is less than half of the peak of 240 V")
    for ref in ("R501", "R502", "R503"):
        volts = float(listed.get(ref, {"voltage": "0"})["voltage"].split()[0])
        if volts < 240 * 2 ** 0.5:
            wrong.append(f"{ref}: {volts} V does not stand the peak of 240 V alone")
    return wrong


RULES = [strings, barrier, apart, reference, probe, drive, levels, locks, pump, pins, parts]


def check(net):
    """Everything that is wrong."""
    return [f"{rule.__name__}: {words}" for rule in RULES for words in rule(net)]


def main():
    net = load()
    found = check(net)
    for words in found:
        print(words)
    if found:
        sys.exit(f"{len(found)} broken rules in {HARDWARE / 'netlist.csv'}")
    print(f"netlist: {len(RULES)} rules hold over {len(net.pins)} parts and {len(net.nets)} nets")


if __name__ == "__main__":
    main()
