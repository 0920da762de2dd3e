"""The mains side of the netlist as an ngspice circuit.

What each part is: resistors and capacitors as they are listed; the converter's inputs 300 kohm
each; a closed relay 60 ohm, an open one none; the bridge 6.0 or 10.2 V behind 12 ohm a side; the coupler
and the tone are one voltage `tone`. Models of FET and transistor are typical figures from memory of
public data: cut-off -2.2 V (the part allows -1.4 to -3.1 V), on-resistance 35 ohm, base-emitter
voltage of a small npn. Barrier: capacitance of converters and isolators to an earthed computer.
Limits: no surge, no heat but the dissipation, relays without their capacitance.
"""

import re
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from check_netlist import farads, ohms  # noqa: E402

ADC_INPUT = 300e3  # SBAS890D 6.5, typical
RELAY_ON = 60.0  # 600 V photo-MOS class, from memory: 50 to 120 ohm
BRIDGE = 12.0  # TC4428 class at 6 V, each output, from memory
REFERENCE = 2.495  # TL431
COUPLER_ON = 0.1  # U604, saturated: its sheet has 0.25 V typical at 1 mA of ten times the light; from memory
BARRIER = 30e-12  # star to an earthed computer: 20 pF of the converter, isolators; from memory
BARRIER_DRIVE = 20e-12

LIVE = re.compile(r"(R10[12]|R2\d\d|C2\d\d|R50[123]|R6[12]\d|R608|Q6\d\d|K50[12]|K60[12]|U301|U603)$")
INPUTS = {0: ("3", "4"), 1: ("6", "5"), 2: ("7", "8"), 3: ("10", "9")}

MODELS = [
    # K (1 + ...) with W = L: 1 / (KP x 2.2 V) is 35 ohm; the bulk diode is the FET's own.
    ".model dfet nmos(level=1 vto={vto} kp=13m lambda=0.001 is=1e-14)",
    ".model n3904 npn(is=6.7f bf=300 vaf=74 ne=1.26 ise=6.7f ikf=66m rb=10 rc=1 xtb=1.5 cje=4.5p cjc=3.6p)",
]


def node(name):
    """A net's name as ngspice takes it; `gnd` would be node 0."""
    return "n_" + re.sub(r"[^a-z0-9]", "_", name.lower())


def level(net):
    """The drive's level from the resistors of its reference."""
    return REFERENCE * (1 + ohms(net.values["R602"]) / (ohms(net.values["R603"]) + ohms(net.values["R630"])))


def raised(net):
    """Its level with the lowest of the reference's resistors bridged by U604."""
    return REFERENCE + (REFERENCE - COUPLER_ON) * ohms(net.values["R602"]) / ohms(net.values["R603"])


def is_live(part):
    return bool(LIVE.match(part))


def elements(net, closed=(), tone="0", vto=-2.2, open_parts=(), short_parts=(), legs=("1", "2"), levels=None):
    """Lines of the circuit. `open_parts` are left out, `short_parts` have all their pins joined;
    `legs` are the legs of P2 that are there: with its relay open a leg carries nothing, and without
    any the circuit is linear. `levels` of the bridge: while the tone is high, while it is low."""
    lines = [line.format(vto=vto) for line in MODELS] if legs else []
    opened = set(open_parts)
    for part, pins in sorted(net.pins.items()):
        if not is_live(part) or (part[:2] in ("R6", "Q6") and part != "R608" and part[2] not in legs):
            continue
        if part == "R608" and not legs:
            continue
        if (part[:3] == "K60" and part[3] not in legs) or (part == "U603" and not legs):
            continue
        at = {pin: node(name) for pin, name in pins.items()}
        if part in short_parts:
            names = sorted({n for pin, n in at.items() if "unconnected" not in n and not (part[0] == "K" and pin in "123")})
            lines += [f"rx{k}_{part.lower()} {a} {b} 1m" for k, (a, b) in enumerate(zip(names, names[1:]))]
            continue
        if part in opened:
            continue
        if part[0] == "R":
            lines.append(f"{part.lower()} {at['1']} {at['2']} {ohms(net.values[part]):g}")
        elif part[0] == "C":
            lines.append(f"{part.lower()} {at['1']} {at['2']} {farads(net.values[part]):g}")
        elif part[0] == "K":
            lines.append(f"r_{part.lower()} {at['4']} {at['6']} {RELAY_ON if part in closed else 1e12:g}")
        elif part[0] == "Q" and part[-1] in "12":
            lines.append(f"m_{part.lower()} {at['2']} {at['1']} {at['3']} {at['3']} dfet w=1u l=1u")
        elif part[0] == "Q":
            lines.append(f"q_{part.lower()} {at['3']} {at['1']} {at['2']} n3904")
        elif part == "U301":
            lines += [f"r_in{k} {at[p]} {at[n]} {ADC_INPUT:g}" for k, (p, n) in INPUTS.items()]
        elif part == "U603":
            com = at["3"]
            high, low = (f"{value:g}" if isinstance(value, float) else value for value in levels or (level(net), level(net)))
            lines += [
                f"v_tone tone 0 {tone}",
                f"b_a {at['7']}_i {com} v = v(tone) > 0 ? {high} : 0",
                f"b_b {at['5']}_i {com} v = v(tone) > 0 ? 0 : {low}",
                f"r_a {at['7']}_i {at['7']} {BRIDGE:g}",
                f"r_b {at['5']}_i {at['5']} {BRIDGE:g}",
            ]
    return lines


def run(deck, timeout=120):
    """What ngspice prints for a deck; its own words in the error where it fails."""
    done = subprocess.run(["ngspice", "-n", "-b"], input=deck, capture_output=True, text=True, timeout=timeout,
                          check=False)
    out = done.stdout
    if "Error" in done.stderr or "aborted" in out or "fatal" in done.stderr.lower():
        raise RuntimeError(f"ngspice: {done.stderr[-800:]}\n{out[-800:]}")
    return out


def measured(out):
    """Numbers of `name = value` lines."""
    found = {}
    for line in out.splitlines():
        match = re.match(r"\s*([a-z_0-9()#.]+)\s*=\s*([-+0-9.eE]+)", line)
        if match:
            found[match[1]] = float(match[2])
    return found
