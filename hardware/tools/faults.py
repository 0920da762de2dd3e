"""Every part on a mains net, opened and shorted, at every receptacle the tester is made for.

    python3 hardware/tools/faults.py            writes faults.csv, faults_readings.csv, faults_self.csv
    python3 hardware/tools/faults.py --says     writes what the instrument says anew, from the readings kept
    python3 hardware/tools/faults.py --check    fails if a part has no row or a row breaks a limit

Receptacles that are normal inputs here, not faults: reversed, ground on either hot, 240 V, ground
open with a person of 500 ohm on the frame; the clip held by a person of 500 ohm (body model of UL 943, from memory) or on a
good earth. Relays: all open, and each of P1, P2 to ground, P2 to the clip (plain, and with its level raised in one
half of the tone as in the test of the limiters) closed wherever the firmware's interlocks let it be closed, and also against them where the failed part is one that
the firmware measures with. Rows `firmware` have every part whole and each relay closed regardless, with the level raised in both halves, too.
Circuit and models: fault_circuit.py, spice.py. Limits: two things failed at once are not in the table but where the
part is what the interlock measures with; a limiter failed while line voltage comes up during P2
passes up to 60 mA for the millisecond until the relay is open. `on_mains`: mains.py.
"""

import csv
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import self_readings  # noqa: E402
from check_netlist import LEADS, OUTSIDE, ohms, reach  # noqa: E402
from fault_circuit import INPUTS, STATES, legs_of, phasor, readings, rms, simulate, stresses  # noqa: E402
from mains import mains_parts  # noqa: E402
from netlist import HARDWARE, load, parts_list  # noqa: E402
from spice import REFERENCE, level, node, raised  # noqa: E402

TABLE, READINGS = HARDWARE / "faults.csv", HARDWARE / "faults_readings.csv"

TRIP_MA = 4.0  # class A does not trip below 4 mA: NEC article 100 note, UL 943
TOUCH_MA = 3.5  # single fault, IEC 61010-1 6.3.2: from memory
INTERLOCK = {"P1": (5.0, 60.0, 150.0), "P2G": 3.0, "P2C": 3.0}  # shared-core/src/limits/{probe,drive}.rs

# Chips and supplies that carry no line current: what their failure does.
NO_FRAMES = ["U301", "Y301", "U401", "PS401", "U402"]
STAR_SUPPLY = ["C301", "C302", "C303", "C304", "C305", "C306", "C307", "C402", "C404", "C405", "C406"]
NO_DRIVE = ["PS601", "U602", "R606", "C602", "C603", "R601"]
SUPPLY = 12.0  # what PS601 gives: no level is higher


def failed_levels(net):
    """Level of P2 with a part failed: plain, and as raised as it gets."""
    plain, high = level(net), raised(net)
    foot = {part: ohms(net.values[part]) for part in ("R602", "R603", "R630")}
    lower = REFERENCE * (1 + foot["R602"] / foot["R630"])  # U604 then bridges the reference itself
    upper = REFERENCE * (1 + foot["R602"] / foot["R603"])
    return {("U601", "open"): (SUPPLY, SUPPLY), ("U601", "short"): (0.0, 0.0), ("R601", "open"): (0.0, 0.0),
            ("R601", "short"): (plain, high), ("R602", "open"): (SUPPLY, SUPPLY), ("R602", "short"): (REFERENCE, REFERENCE),
            ("R603", "open"): (REFERENCE, REFERENCE), ("R603", "short"): (lower, SUPPLY), ("R630", "open"): (REFERENCE, high),
            ("R630", "short"): (upper, upper), ("U604", "open"): (plain, plain), ("U604", "short"): (high, high)}


BLIND = ("R2", "C2", "R10", "U301", "firmware")


def on_mains(net):
    """Parts with a pin on a net that mains reaches without insulation."""
    nets = set()
    for start in (*OUTSIDE, "STAR", "DRIVE_COM"):
        nets |= reach(net, start)
    return sorted({part for name in nets for part, _ in net.nets.get(name, []) if part not in ("J101", "J102")})


def failures(net):
    """Part and how it fails; a transistor also with two of its pins joined."""
    found = [("none", "none"), ("firmware", "P1 closed"), ("firmware", "P2 to ground closed"),
             ("firmware", "P2 to clip closed")]
    for part in on_mains(net):
        found += [(part, "open"), (part, "short")]
        if part[0] == "Q":
            names = ("G", "D", "S") if part[-1] in "12" else ("B", "E", "C")
            found += [(part, f"{names[a]}-{names[b]} short") for a, b in ((0, 1), (0, 2), (1, 2))]
    return found


def allowed(volts, state, is_blind):
    """Whether the firmware's interlocks let a relay be closed; volts of the four leads, none failed."""
    if state.startswith("rest") or is_blind:
        return True
    state = state.split()[0]
    narrow, wide, ground, clip = volts
    if state == "P1":
        rest, least, most = INTERLOCK["P1"]
        return abs(ground - wide) < rest and least <= abs(narrow - ground) < most
    return abs((ground if state == "P2G" else clip) - wide) < INTERLOCK[state]


def levels_of(net, part, failure):
    """Levels of P2, plain and raised, with this part failed; `None`: its own."""
    drives = (part, failure) in (("C602", "open"), ("C603", "open"), ("R606", "short"))
    return failed_levels(net).get((part, failure), (0.0, 0.0) if part in NO_DRIVE and not drives else None)


_whole = {}


def whole(net, place, state):
    """Milliamperes into ground and through a person with every part whole and this relay closed."""
    if (place, state) not in _whole:
        waves = simulate(net, "none", "none", place, state)
        earth = rms([a + b for a, b in zip(waves["ground"], waves["clip"])]) * 1e3
        touch = rms(waves["clip"]) * 1e3
        if INPUTS[place][2] is None:
            touch = max(touch, rms(waves["ground"]) * 1e3)
        _whole[(place, state)] = (earth, touch)
    return _whole[(place, state)]


def one(net, part, failure):
    """Every place and state of one failure."""
    worst = {"earth": (0.0, ""), "touch": (0.0, ""), "volts": (0.0, "", ""), "watts": (0.0, "", "")}
    seen = []
    levels = levels_of(net, part, failure)
    listed = parts_list()
    is_blind = part.startswith(BLIND)
    is_of_drive = part[:2] in ("Q6", "R6", "K6") or part in ("R101", "R102", "U601", "U603", "U604", "none", "firmware", *NO_DRIVE)
    states = STATES if part != "firmware" else (*STATES, *(f"{s} both raised" for s in STATES if s.startswith("P2") and "raised" not in s))
    for place in INPUTS:
        at_rest, changed = None, (0.0, 0.0)
        for state in states:
            if part == "firmware":
                want = {"P1 closed": "P1", "P2 to ground closed": "P2G", "P2 to clip closed": "P2C"}[failure]
                if state.split()[0] not in ("rest", want):
                    continue
            elif at_rest and not allowed(at_rest, state, is_blind):
                continue
            if state.startswith("P2") and not is_of_drive:
                # The drive's own current does not pass this part: its whole counterpart, and what the
                # part changes at rest.
                earth, touch = whole(net, place, state)
                words = f"{place} {state}"
                earth, touch = earth + changed[0], 0.0 if "earthed" in state else touch + changed[1]
                if earth > worst["earth"][0]:
                    worst["earth"] = (earth, words)
                if touch > worst["touch"][0]:
                    worst["touch"] = (touch, words)
                continue
            if state.startswith("P2") and part[:2] in ("Q6", "R6") and part[2] in "12" and part[2] not in legs_of(part, failure, state):
                continue
            waves = simulate(net, part if part in net.pins else "none", failure, place, state, levels)
            leads = readings(net, waves)
            where = f"{place} {state}"
            earth = rms([a + b for a, b in zip(waves["ground"], waves["clip"])]) * 1e3
            touch = 0.0 if "earthed" in state else rms(waves["clip"]) * 1e3
            if INPUTS[place][2] is None:
                touch = max(touch, rms(waves["ground"]) * 1e3)
            if earth > worst["earth"][0]:
                worst["earth"] = (earth, where)
            if touch > worst["touch"][0]:
                worst["touch"] = (touch, where)
            for other, (peak, watts) in stresses(net, waves, part).items():
                row = listed[other]
                stands = float(row["voltage"].split()[0])
                takes = float(row["power"].split()[0]) if row["power"] else 1.0
                if peak / stands > worst["volts"][0]:
                    worst["volts"] = (peak / stands, other, f"{peak:.0f} V of {stands:.0f} at {where}")
                if watts / takes > worst["watts"][0]:
                    worst["watts"] = (watts / takes, other, f"{watts:.3f} W of {takes:g} at {where}")
            if state == "rest":
                sound = whole(net, place, "rest") if not is_of_drive else (earth, touch)
                changed = (abs(earth - sound[0]), abs(touch - sound[1]))
                v = {k: phasor(waves["time"], waves[node(k)]) for k in LEADS.values() if node(k) in waves}
                at_rest = [v.get(k, 0j) for k in LEADS.values()]
                rest = leads
                seen.append([part, failure, place, leads, None])
            elif state == "P1":
                drive = (leads[0] - leads[2]) / 90e3
                moved = (leads[2] - leads[1]) - (rest[2] - rest[1])
                seen[-1][4] = (moved / drive).real - 10.0 if abs(drive) > 60 / 90e3 else None
    return part, failure, worst, seen


def has_frames(part, failure):
    if part in NO_FRAMES:
        return False
    if part in STAR_SUPPLY:
        return failure == "open" and part not in ("C305",)
    return True


RELAY_FLOWS, RELAY_FOLLOWS = 5.0, 1 / 3  # shared-core/src/limits/relays.rs
RISE_LEAST, RISE_MOST = 1.04, 1.28  # shared-core/src/limits/limiters.rs
BEYOND = 1000.0  # shared-core/src/limits/drive.rs


def says_of_itself(own):
    """What the tests of the relays and P2 tell; `own` is a row of faults_self.csv."""
    words = []
    ohm = {key: float(own[key]) for key in self_readings.COLUMNS[2:] if own[key]}
    for key, alone, welded in (("alone_a_ohm", "A", "B"), ("alone_b_ohm", "B", "A")):
        if ohm.get(key, 0.0) > RELAY_FLOWS:
            words.append(f"with P1's relay {alone} alone {ohm[key]:.1f} ohm: relay {welded} does not open: tester fault")
    if ohm["tone_ground_ohm"] > RELAY_FLOWS:
        words.append(f"tone alone {ohm['tone_ground_ohm']:.1f} ohm: P2's relay to ground does not open: tester fault")
    if ohm["tone_clip_share"] > RELAY_FOLLOWS:
        words.append("the clip follows the tone: P2's relay to the clip does not open: tester fault")
    for key, to, reference, beyond in (("p2_ohm", "P2", "R_cal", "P2 beyond range"),
                                       ("p2_clip_ohm", "P2 to the clip", "R102", "P2 to the clip beyond range: polarity not proven")):
        p2 = ohm[key]
        if p2 < -0.5:
            words.append(f"{to} reads {p2 + 10:.1f} ohm, less than {reference}: tester fault")
        elif abs(p2 - 0.4) > 0.1:
            words.append(f"{to} reads {p2:.1f} ohm" if p2 < BEYOND else beyond)
    for leg, to in (("ground", "to ground"), ("clip", "to the clip")):
        rises = [ohm[f"rise_{leg}_{half}"] for half in ("high", "low") if f"rise_{leg}_{half}" in ohm]
        if any(not RISE_LEAST <= rise <= RISE_MOST for rise in rises):
            found = " and ".join(f"{rise:.2f}" for rise in rises)
            words.append(f"rise {to} {found}: P2's limiter {to} does not hold: tester fault")
    return words


def says(part, failure, seen, own):
    """What a sound receptacle then looks like, in short words."""
    if not has_frames(part, failure):
        return "no frames: tester fault, no answer"
    _, _, _, leads, p1 = next(row for row in seen if row[2] == "sound")
    nw, gw = abs(leads[0] - leads[1]), abs(leads[2] - leads[1])
    total = abs(sum(leads))
    words = []
    if total > 0.3 + 0.003 * max(abs(x) for x in leads) and total > 1.5:
        words.append(f"string currents do not sum to zero ({total:.0f} V)")
    if not 119 < nw < 121:
        words.append(f"narrow-wide {nw:.1f} V")
    if gw > 0.5:
        words.append(f"ground-wide {gw:.1f} V")
    clip = abs(leads[3] - leads[1])
    if clip > 0.5:
        words.append(f"clip-wide {clip:.1f} V")
    if (part, failure) == ("R601", "short"):
        words.append("U601 takes all that PS601 gives, over 0.15 A at 6 V, and fails: what follows is U601 open or short")
    words += says_of_itself(own)
    if p1 is None:
        words.append("earth path not measured")
    elif p1 < -0.5:
        words.append(f"P1 reads {p1 + 10:.1f} ohm, less than R_cal: tester fault")
    elif p1 > 0.8:
        words.append(f"P1 reads {p1:.1f} ohm")
    return "; ".join(words) or "nothing: readings right"


COLUMNS = ["designator", "failure", "on_mains", "earth_ma", "earth_at", "touch_ma", "touch_at", "volts_share", "volts_part",
           "volts_at", "heat_share", "heat_part", "heat_at", "says_at_a_sound_receptacle"]
SEEN_COLUMNS = ["designator", "failure", "input", "frames", "narrow_re", "narrow_im", "wide_re", "wide_im", "ground_re", "ground_im",
                "clip_re", "clip_im", "p1_ohm"]


def write_tables(net):
    self_readings.write(net)
    own = self_readings.by_failure()
    table, seen_rows, mains = [], [], mains_parts(net)
    with ThreadPoolExecutor(2) as pool:
        for part, failure, worst, seen in pool.map(lambda what: one(net, *what), failures(net)):
            table.append([part, failure, "yes" if part in mains else "no", f"{worst['earth'][0]:.3f}", worst["earth"][1], f"{worst['touch'][0]:.3f}",
                          worst["touch"][1], f"{worst['volts'][0]:.2f}", *worst["volts"][1:],
                          f"{worst['watts'][0]:.2f}", *worst["watts"][1:], says(part, failure, seen, own[(part, failure)])])
            for _, _, place, leads, p1 in seen:
                seen_rows.append([part, failure, place, "yes" if has_frames(part, failure) else "no",
                                  *[f"{x:.3f}" for lead in leads for x in (lead.real, lead.imag)],
                                  "" if p1 is None else f"{p1:.3f}"])
    for path, header, rows in ((TABLE, COLUMNS, table), (READINGS, SEEN_COLUMNS, seen_rows)):
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(header)
            writer.writerows(rows)


def write_says():
    """The last column of the table anew."""
    own, rows = self_readings.by_failure(), read_table()
    with READINGS.open(newline="", encoding="utf-8") as file:
        kept = list(csv.DictReader(file))
    for row in rows:
        name = (row["designator"], row["failure"])
        sound = next(r for r in kept if (r["designator"], r["failure"], r["input"]) == (*name, "sound"))
        leads = [complex(float(sound[f"{lead}_re"]), float(sound[f"{lead}_im"])) for lead in ("narrow", "wide", "ground", "clip")]
        p1 = float(sound["p1_ohm"]) if sound["p1_ohm"] else None
        row[COLUMNS[-1]] = says(*name, [[*name, "sound", leads, p1]], own[name])
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def broken(net, rows):
    """What is wrong with a table: parts without a row, rows beyond a limit."""
    wrong = []
    have = {(row["designator"], row["failure"]) for row in rows}
    wrong += [f"{part} {failure} has no row" for part, failure in failures(net) if (part, failure) not in have]
    for row in rows:
        name = f"{row['designator']} {row['failure']}"
        if float(row["earth_ma"]) >= TRIP_MA:
            wrong.append(f"{name}: {row['earth_ma']} mA into ground at {row['earth_at']}: an interrupter may trip")
        if float(row["touch_ma"]) >= TOUCH_MA:
            wrong.append(f"{name}: {row['touch_ma']} mA through a person at {row['touch_at']}")
        if float(row["volts_share"]) > 1:
            wrong.append(f"{name}: {row['volts_part']} stands {row['volts_at']}")
        if float(row["heat_share"]) > 1:
            wrong.append(f"{name}: {row['heat_part']} takes {row['heat_at']}")
    return wrong


def read_table():
    with TABLE.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


SAMPLE = [("none", "none"), ("R201", "short"), ("R501", "short"), ("K601", "short"), ("Q611", "short"), ("R613", "short")]


def stale(net, rows):
    """Rows of a sample that come out otherwise when they are made anew."""
    kept = {(row["designator"], row["failure"]): row for row in rows}
    wrong = []
    for part, failure in SAMPLE:
        _, _, worst, _ = one(net, part, failure)
        for key, column in (("earth", "earth_ma"), ("touch", "touch_ma")):
            was, now = float(kept[(part, failure)][column]), worst[key][0]
            if abs(was - now) > 0.02 * max(now, 0.1):
                wrong.append(f"{part} {failure}: {column} {was}, now {now:.3f}: run hardware/run faults")
    return wrong


def main():
    net = load()
    if "--says" in sys.argv:
        write_says()
    elif "--check" not in sys.argv:
        write_tables(net)
    rows = read_table()
    for key, word in (("earth_ma", "into ground"), ("touch_ma", "through a person"), ("volts_share", "of a part's voltage"),
                      ("heat_share", "of a part's power")):
        row = max(rows, key=lambda r: float(r[key]))
        place = row[key.replace("_ma", "_at").replace("_share", "_at")]
        print(f"worst {word}: {row[key]} with {row['designator']} {row['failure']} at {place}")
    found = broken(net, rows)
    if "--check" in sys.argv and not found:
        found = stale(net, rows) + self_readings.stale(net)
    for words in found:
        print(words)
    if found:
        sys.exit(f"{len(found)} rows break a limit")
    print(f"faults: {len(rows)} rows, no limit broken")


if __name__ == "__main__":
    main()
