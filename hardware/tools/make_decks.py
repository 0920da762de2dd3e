"""Writes the ngspice decks of hardware/spice/ from the netlist.

    python3 hardware/tools/make_decks.py           writes
    python3 hardware/tools/make_decks.py --check   fails if one differs

front_end.cir: all four strings from lead to converter pins, 45 to 1000 Hz. probe.cir: P1 on 120 V.
drive.cir: P2 into what it may meet. limiter.cir: P2 with line voltage across it, cold and warm.
rise.cir: P2 plain, and with its level raised, into a good earth: what tells a limiter that holds.
pump.cir: the charge pump, and how long its relay's LED stays lit when the pin stops.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from check_netlist import LEADS, farads, ohms  # noqa: E402
from netlist import HARDWARE, load  # noqa: E402
from spice import BARRIER, elements, level, node, raised  # noqa: E402

FOLDER = HARDWARE / "spice"
FREQUENCIES = [45, 50, 55, 60, 65, 85, 120, 180, 300, 420, 660, 780, 1000]
LOADS = [0.001, 0.5, 1, 10, 30, 100]


def front_end(net):
    lines = ["* Front end: each lead against the star, four strings at once. Generated from netlist.csv."]
    lines += elements(net, legs=())
    lines.append(f"r_star {node('STAR')} 0 1u")
    for name in LEADS.values():
        lines.append(f"v_{node(name)} {node(name)} {node('STAR')} dc 0 ac 1")
    lines += [".control", "set noaskquit"]
    for hertz in FREQUENCIES:
        lines.append(f"ac lin 1 {hertz} {hertz}")
        for row, lead in enumerate(LEADS):
            pins = f"v({node(f'AIN{row}P')})-v({node(f'AIN{row}N')})"
            lines += [f"let {lead}_{hertz}_re = real({pins})", f"let {lead}_{hertz}_im = imag({pins})",
                      f"print {lead}_{hertz}_re {lead}_{hertz}_im"]
    return [*lines, "quit", ".endc", ".end"]


def probe(net):
    lines = ["* P1 closed on 120 V, ground sound: current, and what the reference resistor shows."]
    lines += elements(net, closed=("K501", "K502"))
    lines += [
        f"v_line {node('NARROW')} 0 sin(0 {120 * 2 ** 0.5:.6f} 60) ac 120", f"r_wide {node('WIDE')} 0 0.1",
        f"r_ground {node('GROUND_PIN')} 0 1.23", f"c_barrier {node('STAR')} 0 {BARRIER:g}",
        f"r_clip {node('CLIP')} 0 1e12", ".control", "set noaskquit", "ac lin 1 60 60",
        f"let probe_ma = mag(v({node('NARROW')})-v({node(net.net('R501', 2))}))/{ohms(net.values['R501']):g}*1000",
        f"let cal_mv = mag(v({node('INNER_GROUND')})-v({node('GROUND_PIN')}))*1000",
        f"let ground_ma = mag(v({node('GROUND_PIN')}))/1.23*1000",
        "print probe_ma cal_mv ground_ma", "quit", ".endc", ".end",
    ]
    return lines


def drive(net):
    lines = ["* P2 closed to ground and to the clip, tone high and low, into resistances of the path."]
    lines += elements(net, closed=("K601", "K602"), tone="{pole}")
    for leg, name in (("g", "INNER_GROUND"), ("c", "INNER_CLIP")):
        lines.append(f"v_{leg} {node(name)} {leg}_end 0")
        lines.append(f"r_{leg} {leg}_end {node('WIDE')} {{{leg}_ohm}}")
    lines += [f"r_ref {node('WIDE')} 0 1m", ".param pole=1 g_ohm=1e12 c_ohm=1e12", ".control", "set noaskquit"]
    count = 0
    for leg in "gc":
        for ohm in LOADS:
            for pole in (1, -1):
                other = "c" if leg == "g" else "g"
                lines += [f"alterparam pole = {pole}", f"alterparam {leg}_ohm = {ohm}", f"alterparam {other}_ohm = 1e12",
                          "reset", "op", f"let i_{leg}_{count} = i(v_{leg})*1000", f"print i_{leg}_{count}"]
                count += 1
    lines += ["alterparam g_ohm = 1e12", "alterparam c_ohm = 1e12", "alterparam pole = 1", "reset", "op",
              f"let open_v = v({node('WIDE')})-v({node('INNER_GROUND')})", "print open_v", "quit", ".endc", ".end"]
    return lines


def rise(net):
    lines = ["* P2 to ground, then to the clip, onto 0.4 ohm: current with the tone high and low, plain and raised; cold and warm."]
    lines += elements(net, closed=("K601", "K602"), tone="{pole}", levels=("{level}", "{level}"))
    for leg, name in (("g", "GROUND_PIN"), ("c", "CLIP")):
        lines += [f"v_{leg} {node(name)} {leg}_end 0", f"r_{leg} {leg}_end {node('WIDE')} {{{leg}_ohm}}"]
    lines += [f"r_ref {node('WIDE')} 0 1m", f".param pole=1 level={level(net):g} g_ohm=1e12 c_ohm=1e12", ".control", "set noaskquit"]
    for kelvin in (0, 25, 50):
        for leg, other in ("gc", "cg"):
            lines += [f"alterparam {leg}_ohm = 0.4", f"alterparam {other}_ohm = 1e12"]
            for volts, word in ((level(net), "plain"), (raised(net), "raised")):
                for pole, half in ((1, "high"), (-1, "low")):
                    key = f"{leg}_{half}_{word}_{kelvin}"
                    lines += [f"alterparam level = {volts:g}", f"alterparam pole = {pole}", "reset", f"set temp = {kelvin}", "op",
                              f"let i_{key} = abs(i(v_{leg}))*1000", f"print i_{key}"]
    return [*lines, "quit", ".endc", ".end"]


def limiter(net):
    lines = ["* P2 to ground closed while 120 V and 240 V stand across it: what its limiter lets pass."]
    lines += elements(net, closed=("K601",), tone="1")
    lines += [".param volts=120", f"v_line {node('WIDE')} 0 sin(0 {{volts*sqrt(2)}} 60)",
              f"v_g {node('INNER_GROUND')} 0 0", f"r_clip {node('CLIP')} 0 1e12", f"r_narrow {node('NARROW')} 0 1e12",
              f"c_barrier {node('STAR')} 0 {BARRIER:g}", ".control", "set noaskquit"]
    for volts in (120, 240):
        for kelvin in (0, 25, 50):
            key = f"{volts}_{kelvin}"
            lines += [f"alterparam volts = {volts}", "reset", f"set temp = {kelvin}", "tran 20u 50m 16.6667m",
                      f"meas tran rms_{key} rms i(v_g)", f"meas tran max_{key} max i(v_g)",
                      f"meas tran min_{key} min i(v_g)"]
    return [*lines, "quit", ".endc", ".end"]


def pump(net):
    value = {part: (farads if part[0] == "C" else ohms)(net.values[part])
             for part in ("C501", "C502", "C503", "R504", "R505", "R506", "R513")}
    led = ".model irled d(is=1e-14 n=1.7 rs=3 tt=10n)"  # 1.2 V at 5 mA: from memory
    schottky = ".model bat54 d(is=2e-7 n=1.02 rs=2 cjo=10p)"  # 0.25 V at 1 mA: from memory
    return [
        "* Charge pump of relay A: the pin toggles every frame (2 kHz) for 40 ms, then stands still high;",
        "* a second run stands still low. LED current in milliamperes.",
        led, schottky, ".param still=0",
        "v_pin pin 0 pulse(0 3.3 1m 20n 20n 0.25m 0.5m)",
        "b_p phase 0 v = time < 41m ? (v(pin) > 1.65 ? 0 : 3.3) : {still}",
        "b_q back 0 v = time < 41m ? (v(pin) > 1.65 ? 3.3 : 0) : {3.3-still}",
        "r_op phase po 12", "r_oq back qo 12",
        f"r504 po pa {value['R504']:g}", f"r505 qo qa {value['R505']:g}",
        f"c501 pa pc {value['C501']:g}", f"c502 qa qc {value['C502']:g}",
        "d501a 0 pc bat54", "d501b pc out bat54", "d502a 0 qc bat54", "d502b qc out bat54",
        f"c503 out 0 {value['C503']:g}", f"r506 out led {value['R506']:g}", "d_led led k irled", "v_led k 0 0",
        f"r513 led 0 {value['R513']:g}",
        ".control", "set noaskquit",
        *[line for still in (0, 3.3) for line in (
            f"alterparam still = {still}", "reset", "tran 2u 46m 0 2u",
            f"meas tran mean_{int(still)} avg i(v_led) from=30m to=40m",
            f"meas tran least_{int(still)} min i(v_led) from=30m to=40m",
            f"meas tran off_{int(still)} when i(v_led)=0.4m fall=last")],
        "quit", ".endc", ".end",
    ]


def decks(net=None):
    net = net or load()
    return {f"{made.__name__}.cir": "\n".join(made(net)) + "\n" for made in (front_end, probe, drive, rise, limiter, pump)}


def main():
    FOLDER.mkdir(exist_ok=True)
    for name, text in decks().items():
        path = FOLDER / name
        if "--check" in sys.argv:
            if not path.exists() or path.read_text(encoding="utf-8") != text:
                sys.exit(f"{name} is not that of the netlist: run hardware/tools/make_decks.py")
        else:
            path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
