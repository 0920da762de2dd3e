"""What the tester reads of its own currents with one part failed, at a sound receptacle.

    python3 hardware/tools/self_readings.py    writes faults_self.csv; faults.py checks it

The tests that the firmware makes of itself before it drives anything (shared-core/src/relay_check):
relay A and relay B of P1 alone, which is linear at 60 Hz, and the tone of P2 with both of its relays
open and the clip hanging free. Then what P2 reads from wide to ground, and from wide to the clip beyond the 10 ohm of
R102, with the clip on a good earth, as in every test that can end in "proven"; and how its current rises on each leg with the
level raised while the tone is high, and while it is low, over the plain one (empty: no current flows). P2 is a level that changes its sign: two operating points, without the
line. Its source is calibrated with every part whole. Last what a calibration reads of the leg to the clip: P2 over its 10 ohm
resistor and R102; and what a person reads in steps 15a and 15b of checks.md: milliamperes that each leg
lets through at 24 V dc, both ways round. Readings go through the strings, so a failed string shows in them.
"""

import csv
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from fault_circuit import CALIBRATING, circuit, readings, simulate  # noqa: E402
from netlist import HARDWARE, load  # noqa: E402
from spice import measured, node, run  # noqa: E402

TABLE = HARDWARE / "faults_self.csv"
COLUMNS = ["designator", "failure", "alone_a_ohm", "alone_b_ohm", "tone_ground_ohm", "tone_clip_share", "p2_ohm", "p2_clip_ohm", "cal_clip_ohm",
           "rise_ground_high", "rise_ground_low", "rise_clip_high", "rise_clip_low",
           "leg_ground_out_ma", "leg_ground_back_ma", "leg_clip_out_ma", "leg_clip_back_ma"]

PROBE = 90e3  # earth_path::PROBE
LEVEL = 6.0  # DriveCalibration::NOMINAL.level
GAIN_DC = 2.38348e-3  # front_end::NOMINAL_GAIN
LOOP = 10.0 + 0.4  # R_cal, and 0.2 ohm of the receptacle each way
CLIP_LEAD = 10.0  # R102
FLOWS = 0.1  # mA: less is no current to see rise


def alone(net, part, failure, relay):
    """Ohms that the current of P1 reads with only this relay closed: what it moves, over what would flow."""
    waves = {state: simulate(net, part, failure, "sound", state) for state in ("rest", f"{relay} alone")}
    rest, closed = (readings(net, waves[state]) for state in waves)
    drive = (closed[0] - closed[2]) / PROBE
    moved = (closed[2] - closed[1]) - (rest[2] - rest[1])
    return (moved / drive).real if abs(drive) > 60 / PROBE else None


def operating_point(lines, vectors):
    """Values of these vectors at the operating point of a circuit."""
    prints = [f"print {name}" for name in vectors]
    for attempt in ("", ".options gmin=1e-11 reltol=0.005", ".options gmin=1e-10 itl1=2000 reltol=0.01"):
        deck = "\n".join([*lines, attempt, ".control", "set numdgt=13", "op", *prints, "quit", ".endc", ".end"]) + "\n"
        try:
            found = measured(run(deck, timeout=30))
        except RuntimeError:
            continue
        if found:
            return found
    raise RuntimeError(f"no operating point: {lines[0]}")


STEP_15 = 24.0
_whole = {}


def is_in_drive(part, levels):
    return part[:2] in ("Q6", "R6", "K6", "U6") or part in ("R101", "R102") or levels is not None


def rises(net, part, failure, levels):
    """The rise of both legs, see `rises_at`. A part that is in neither changes neither."""
    is_of_drive = is_in_drive(part, levels)
    if not is_of_drive and "rises" in _whole:
        return _whole["rises"]
    found = rises_at(net, part, failure, levels)
    if not is_of_drive:
        _whole["rises"] = found
    return found


def rises_at(net, part, failure, levels, celsius=25, vto=-2.2):
    """Size of the current with one half raised over the plain one: to ground high, low, to the clip high, low.
    `vto`: cut-off of the FETs."""
    found, warm = [], f".options temp={celsius}"
    for state, vector in (("P2G clip earthed", "i(v_gs)"), ("P2C clip earthed", "i(v_cs)")):
        flow = {}
        for tone in ("1", "-1"):
            for word in ("", " both raised"):
                lines = circuit(net, part, failure, "quiet", f"{state}{word}", levels, tone=tone, vto=vto)
                flow[(tone, word)] = abs(operating_point([*lines, warm], [vector])[vector]) * 1e3
        plain = flow[("1", "")] + flow[("-1", "")]
        for one, other in (("1", "-1"), ("-1", "1")):
            found.append((flow[(one, " both raised")] + flow[(other, "")]) / plain if plain > 2 * FLOWS else None)
    return found


def let_through(net, part, failure, levels):
    """Milliamperes of steps 15a and 15b, out and back. A part that is in neither leg changes neither."""
    is_of_drive = is_in_drive(part, levels)
    if not is_of_drive and "currents" in _whole:
        return _whole["currents"]
    currents = []
    for state, vector in (("P2G clip earthed", "i(v_gs)"), ("P2C clip earthed", "i(v_cs)")):
        for volts in (STEP_15, -STEP_15):
            lines = [line.replace("dc 0", f"dc {volts:g}") if line.startswith("v_wide ") else line
                     for line in circuit(net, part, failure, "quiet", state, levels, tone="-1")]
            currents.append(operating_point(lines, [vector])[vector] * 1e3)
    if not is_of_drive:
        _whole["currents"] = currents
    return currents


def shares(net, part, failure, state, levels):
    """Volts of wide against ground and against the clip, as read, over the level."""
    found = []
    for tone in ("1", "-1"):
        lines = circuit(net, part, failure, "quiet", state, levels, tone=tone)
        wanted = [node(f"AIN{k}{end}") for k in (1, 2, 3) for end in "PN"]
        volts = operating_point(lines, [f"v({name})" for name in wanted if any(name in line.split() for line in lines)])
        lead = {k: (volts.get(f"v({node(f'AIN{k}P')})", 0.0) - volts.get(f"v({node(f'AIN{k}N')})", 0.0)) / GAIN_DC for k in (1, 2, 3)}
        found.append((lead[1] - lead[2], lead[1] - lead[3]))
    (ground_high, clip_high), (ground_low, clip_low) = found
    return (ground_high - ground_low) / 2 / LEVEL, (clip_high - clip_low) / 2 / LEVEL


# The coupler's output tied to the supply: the bridge stands still, at its level.
SILENT = (("R606", "short"),)


def in_ohms(share, source):
    return share / (1 - min(share, 0.999)) * source


def one(net, part, failure, levels, sources):
    if (part, failure) in SILENT:
        levels = (0.0, 0.0)
    name = part if part in net.pins else "none"
    a, b = (alone(net, name, failure, relay) for relay in "AB")
    tone_ground, tone_clip = shares(net, name, failure, "tone", levels)
    p2_ground, _ = shares(net, name, failure, "P2G clip earthed", levels)
    _, p2_clip = shares(net, name, failure, "P2C clip earthed", levels)
    _, cal_clip = shares(net, name, failure, "P2C calibrating", levels)
    source, source_clip = sources
    return [part, failure, *("" if x is None else f"{x:.3f}" for x in (a, b)), f"{in_ohms(tone_ground, source):.3f}",
            f"{tone_clip:.4f}", f"{in_ohms(p2_ground, source) - 10.0:.3f}", f"{in_ohms(p2_clip, source_clip) - CLIP_LEAD:.3f}",
            f"{in_ohms(cal_clip, source_clip):.3f}", *("" if rise is None else f"{rise:.3f}" for rise in rises(net, name, failure, levels)),
            *(f"{milliamperes:.2f}" for milliamperes in let_through(net, name, failure, levels))]


def calibrated(net):
    """The sources that read both legs right with every part whole: to ground, to the clip."""
    ground, _ = shares(net, "none", "none", "P2G clip earthed", None)
    _, clip = shares(net, "none", "none", "P2C calibrating", None)
    at = CALIBRATING + CLIP_LEAD + 0.2  # and wide's way in
    return LOOP * (1 - ground) / ground, at * (1 - clip) / clip


def by_failure():
    """Rows of the table by part and failure."""
    with TABLE.open(newline="", encoding="utf-8") as file:
        return {(row["designator"], row["failure"]): row for row in csv.DictReader(file)}


SAMPLE = [("none", "none"), ("K501", "short"), ("K602", "short"), ("R613", "short"), ("Q623", "B-E short"), ("R616", "short"), ("R231", "open")]


def stale(net):
    """Failures without a row, and rows of a sample that come out otherwise."""
    from faults import failures, levels_of  # circular: faults.py says what these readings mean

    sources, kept = calibrated(net), by_failure()
    wrong = [f"{part} {failure} has no row of its own readings" for part, failure in failures(net) if (part, failure) not in kept]
    for part, failure in SAMPLE:
        now = dict(zip(COLUMNS, one(net, part, failure, levels_of(net, part, failure), sources)))
        for column in COLUMNS[2:]:
            was, is_now = kept[(part, failure)][column], now[column]
            if was != is_now and ("" in (was, is_now) or abs(float(was) - float(is_now)) > 0.02 * abs(float(is_now)) + 0.01):
                wrong.append(f"{part} {failure}: {column} {was}, now {is_now}: run hardware/run faults")
    return wrong


def write(net):
    from faults import failures, levels_of

    sources = calibrated(net)
    with ThreadPoolExecutor(2) as pool:
        rows = list(pool.map(lambda what: one(net, *what, levels_of(net, *what), sources), failures(net)))
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(rows)


if __name__ == "__main__":
    write(load())
