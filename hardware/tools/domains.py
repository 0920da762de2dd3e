"""Which distance each net keeps: classes of nets by what they are joined to.

Class: SAFE may be touched; STAR, DRIVE and the three LEADs stand at different potentials of the
mains and keep 3 mm from each other; CHAIN and LEG are the nodes within a chain of resistors or a
limiter, between whose neighbours only a part of the line voltage stands.
"""

from check_netlist import reach, string_parts

LEADS = {"NARROW": "LEAD_NARROW", "INNER_GROUND": "LEAD_GROUND", "GROUND_PIN": "LEAD_GROUND", "CLIP": "LEAD_CLIP",
         "INNER_CLIP": "LEAD_CLIP"}
APART = {"STAR", "DRIVE", "LEAD_NARROW", "LEAD_GROUND", "LEAD_CLIP"}
LIVE = APART | {"CHAIN", "LEG"}

REINFORCED = 8.0  # creepage, hardware notes: wide packages give it; IEC 61010-1 asks less at 300 V
REINFORCED_AIR = 6.0
BETWEEN_LEADS = 3.0  # design choice: IEC 61010-1 reinforced at 300 V cat II is 3.3 mm, basic about half
WITHIN_CHAIN = 0.5
PLAIN = 0.2


def classes(net):
    """Class of every net."""
    high = {p for row in range(4) for p in string_parts(row)}
    star = reach(net, "STAR", without=high)
    limiters = [p for p in net.pins if p[:3] in ("R61", "R62", "Q61", "Q62")]
    legs = {n for p in limiters for n in net.pins[p].values()} - {"DRIVE_RETURN"}
    drive = reach(net, "DRIVE_COM", without=set(limiters) | high | {"J101", "R501", "R502", "R503"})
    chain = {n for p in [*high, "R501", "R502", "R503"] for n in net.pins[p].values()} | {net.net("K501", 4)}
    found = {}
    for name in net.nets:
        if name in LEADS:
            found[name] = LEADS[name]
        elif name in star:
            found[name] = "STAR"
        elif name in drive:
            found[name] = "DRIVE"
        elif name in legs:
            found[name] = "LEG"
        elif name in chain:
            found[name] = "CHAIN"
        else:
            found[name] = "SAFE"
    return found


def clearance(a, b):
    """Least distance in millimetres between copper of two classes."""
    if a == b:
        return PLAIN
    if "SAFE" in (a, b):
        return REINFORCED
    if a in APART and b in APART:
        return BETWEEN_LEADS
    return WITHIN_CHAIN


def rules():
    """The board's own design rules."""
    safe = "A.NetClass == 'SAFE' && B.NetClass != 'SAFE' && B.NetClass != 'Default'"
    out = ["(version 1)", "", "# Mains and what may be touched: reinforced insulation.",
           '(rule "barrier creepage"', f"  (constraint creepage (min {REINFORCED:g}mm))", f'  (condition "{safe}"))',
           '(rule "barrier clearance"', f"  (constraint clearance (min {REINFORCED_AIR:g}mm))", f'  (condition "{safe}"))',
           "", "# The leads, the star and the drive from each other."]
    names = sorted(APART)
    for k, one in enumerate(names):
        for other in names[k + 1:]:
            out += [f'(rule "{one} from {other}"', f"  (constraint clearance (min {BETWEEN_LEADS:g}mm))",
                    f"  (condition \"A.NetClass == '{one}' && B.NetClass == '{other}'\"))"]
    out += ["", "# Within a chain of resistors or a limiter: the packages themselves are closer."]
    for one in ("CHAIN", "LEG"):
        out += [f'(rule "{one}"', f"  (constraint clearance (min {WITHIN_CHAIN:g}mm))",
                f"  (condition \"A.NetClass == '{one}' && B.NetClass != '{one}' && B.NetClass != 'SAFE'\"))"]
    return "\n".join(out) + "\n"
