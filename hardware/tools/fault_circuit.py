"""The mains side with one part failed, at one receptacle, with one relay closed: as ngspice solves it.

Without a leg of P2 in it the circuit is linear, and one solution at 60 Hz is all there is; with one it
is solved in time. Used by faults.py.
"""

import subprocess
import tempfile
from math import cos, pi, sin, sqrt
from pathlib import Path

from check_netlist import ohms
from spice import BARRIER, BARRIER_DRIVE, elements, is_live, level, node, raised, run

BODY = 500.0  # UL 943 body model, from memory

# Volts to earth of narrow, wide, ground; None is a ground hole with no wire and a person on the frame.
INPUTS = {
    "sound": (120, 0, 0),
    "reversed": (0, 120, 0),
    "ground on hot": (120, 0, 120),
    "ground on the other leg": (120, 0, -120),
    "240 V": (120, -120, 0),
    "ground open": (120, 0, None),
    "reversed ground open": (0, 120, None),
    "240 V ground open": (120, -120, None),
    "reversed and joined": (0, 120, 120),
}
QUIET = (0, 0, 0)  # no line: for the operating points of P2
STATES = {"rest": (), "P1": ("K501", "K502"), "P2G": ("K601",), "P2C": ("K602",), "rest clip earthed": (),
          "P2C clip earthed": ("K602",)}
# The test of the limiters: the level raised while the tone is high, or while it is low, never in both.
STATES |= {f"{state} {half} raised": closed for state, closed in tuple(STATES.items()) if state.startswith("P2") for half in ("high", "low")}
# Of the tester's test of itself; `tone`: P2 sounds with both relays open.
SELF_STATES = {"A alone": ("K501",), "B alone": ("K502",), "tone": (), "P2G clip earthed": ("K601",),
               "P2C calibrating": ("K602",)}
CALIBRATING = 10.0  # ohm from wide to clip


LEG = {"P2G": "1", "P2C": "2"}


def legs_of(part, failure, state):
    """Legs of P2 that carry anything: the closed one, and one whose relay is shorted."""
    found = {LEG[state.split()[0]]} if state.startswith("P2") else set()
    if part in ("K601", "K602") and failure == "short":
        found.add(part[3])
    return tuple(sorted(found))


def hand(state):
    """What the clip is on: a good earth, nothing, the calibration's resistor, a person."""
    if "earthed" in state:
        return 0.2
    return {"tone": 1e9, "P2C calibrating": CALIBRATING}.get(state, BODY)


def levels_of(net, state, levels=None):
    """Volts of P2 while its tone is high, and while it is low; `levels` are plain and raised with a part failed."""
    plain, high = levels or (level(net), raised(net))
    return tuple(high if f"{half} raised" in state or state.endswith("both raised") else plain for half in ("high", "low"))


def circuit(net, part, failure, place, state, levels=None, tone=None, vto=-2.2):
    narrow, wide, ground = INPUTS.get(place, QUIET)
    closed = list((STATES | SELF_STATES)[state.removesuffix(" both raised")])
    legs = legs_of(part, failure, state)
    if tone is None:
        tone = "pulse(-1 1 0 1u 1u 5.882m 11.765m)" if state.startswith("P2") else "-1"
    opened, short, extra = (), (), []
    if failure == "open" and is_live(part):
        opened = (part,)
    elif failure == "short" and is_live(part):
        short = (part,)
    elif failure.endswith("short") and "-" in failure and part[2] in legs:
        number = {"G": "1", "D": "2", "S": "3", "B": "1", "E": "2", "C": "3"}
        a, b = (net.net(part, number[letter]) for letter in failure.split()[0].split("-"))
        extra.append(f"r_pair {node(a)} {node(b)} 1m")
    if opened and part[0] == "K":
        closed = [k for k in closed if k != part]
        opened = ()
    lines = [f"* {part} {failure} at {place}, {state}", *extra]
    lines += elements(net, closed=closed, tone=tone, open_parts=opened, short_parts=short, legs=legs,
                      levels=levels_of(net, state, levels), vto=vto)
    for name, volts in (("NARROW", narrow), ("WIDE", wide)):
        lines += [f"v_{name.lower()} {name.lower()}_s 0 dc 0 ac {volts} sin(0 {volts * sqrt(2):.6f} 60)",
                  f"r_{name.lower()} {name.lower()}_s {node(name)} 0.2"]
    if ground is None:
        lines += [f"v_gs {node('GROUND_PIN')} gs 0", f"r_body gs 0 {BODY:g}"]
    else:
        lines += [f"v_ground ground_s 0 dc 0 ac {ground} sin(0 {ground * sqrt(2):.6f} 60)",
                  f"v_gs {node('GROUND_PIN')} gs 0", "r_ground gs ground_s 0.2"]
    lines += [f"v_cs {node('CLIP')} cs 0", f"r_hand cs 0 {hand(state):g}"]
    lines += [f"c_star {node('STAR')} 0 {BARRIER:g}", f"r_star {node('STAR')} 0 1e12", ".options rshunt=1e13"]
    if legs:
        lines += [f"c_drive {node('DRIVE_COM')} 0 {BARRIER_DRIVE:g}", f"r_drive {node('DRIVE_COM')} 0 1e12"]
    return lines


SPAN = 1 / 60 * 3
POINTS = 168  # samples of a cycle where the circuit is linear and solved at 60 Hz alone


def simulate(net, part, failure, place, state, levels=None):
    """Waves by node over whole cycles, and currents of ground and clip. Without a leg of P2 the
    circuit is linear and one solution at 60 Hz is all there is; with one, three cycles in time."""
    lines = circuit(net, part, failure, place, state, levels)
    is_linear = not legs_of(part, failure, state)
    text = " ".join(lines)
    nodes = sorted({word for word in text.split() if word.startswith("n_") and not word.endswith("_i")})
    vectors = " ".join([f"v({name})" for name in nodes] + ["i(v_gs)", "i(v_cs)"])
    for attempt in ("", ".options method=gear", ".options method=gear reltol=0.005 abstol=1n vntol=10u",
                    ".options method=gear reltol=0.01 abstol=10n vntol=100u gmin=1e-10 itl4=200 cshunt=1p"):
        with tempfile.TemporaryDirectory() as folder:
            base = f"{folder}/waves"
            solve = ["ac lin 1 60 60"] if is_linear else [
                f"tran 100u {SPAN + 1 / 60:.7f} {1 / 60:.7f} 100u", "linearize"]
            deck = "\n".join([*lines, attempt, ".control", "set noaskquit", "set wr_singlescale", "set numdgt=13",
                              *solve, f"wrdata {base} {vectors}", "quit", ".endc", ".end"]) + "\n"
            try:
                run(deck, timeout=30)
            except (subprocess.TimeoutExpired, RuntimeError):
                continue
            rows = [[float(word) for word in line.split()] for line in next(Path(folder).iterdir()).read_text().splitlines()]
            break
    else:
        raise RuntimeError(f"no solution: {lines[0]}")
    names = [*nodes, "ground", "clip"]
    if is_linear:
        pairs = [complex(*rows[0][1 + 2 * k:3 + 2 * k]) for k in range(len(names))]
        time = [k / POINTS / 60 for k in range(POINTS)]
        return {"time": time, **{name: [sqrt(2) * (z.real * sin(2 * pi * 60 * t) + z.imag * cos(2 * pi * 60 * t))
                                        for t in time] for name, z in zip(names, pairs)}}
    columns = list(zip(*rows[:int(SPAN / 100e-6)]))
    return dict(zip(["time", *names], columns))


def rms(wave):
    return sqrt(sum(x * x for x in wave) / len(wave))


def phasor(time, wave):
    """RMS phasor at 60 Hz over whole cycles."""
    count = len(wave)
    re = sum(w * sin(2 * pi * 60 * t) for t, w in zip(time, wave)) * 2 / count / sqrt(2)
    im = sum(w * cos(2 * pi * 60 * t) for t, w in zip(time, wave)) * 2 / count / sqrt(2)
    return complex(re, im)


GAIN = 2.382833e-3


def readings(net, waves):
    """RMS phasor of each lead as the converter shows it, against the star."""
    found = []
    for row in range(4):
        plus, minus = node(f"AIN{row}P"), node(f"AIN{row}N")
        if plus not in waves or minus not in waves:
            found.append(0j)
            continue
        found.append(phasor(waves["time"], [a - b for a, b in zip(waves[plus], waves[minus])]) / GAIN)
    return found


def stresses(net, waves, skip):
    """Peak volts and watts of each part that has both ends in the circuit."""
    found = {}
    for relay, end in (("K601", "INNER_GROUND"), ("K602", "INNER_CLIP")):
        if relay != skip and node(net.net(relay, 6)) not in waves:
            found[relay] = (max(abs(x - y) for x, y in zip(waves[node("WIDE")], waves[node(end)])), 0.0)
    for part, pins in net.pins.items():
        if not is_live(part) or part in (skip, "U301", "U603"):
            continue
        ends = {"R": ("1", "2"), "C": ("1", "2"), "K": ("4", "6"), "Q": ("2", "3")}[part[0]]
        if part[0] == "Q" and part[-1] in "34":
            continue
        a, b = (node(pins[p]) for p in ends)
        if a not in waves or b not in waves:
            continue
        across = [x - y for x, y in zip(waves[a], waves[b])]
        watts = 0.0
        if part[0] == "R":
            watts = rms(across) ** 2 / ohms(net.values[part])
        elif part[0] == "Q":
            sense = f"R{part[1:3]}{'1' if part[-1] == '1' else '3'}"
            s1, s2 = node(net.net(sense, 1)), node(net.net(sense, 2))
            if s1 in waves and s2 in waves:
                flow = [abs(x - y) / ohms(net.values[sense]) for x, y in zip(waves[s1], waves[s2])]
                watts = sum(abs(v) * i for v, i in zip(across, flow)) / len(flow)
        found[part] = (max(abs(v) for v in across), watts)
    return found
