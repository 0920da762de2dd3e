"""Four faults planted in a copy of this folder, and what the checks say to each.

    python3 hardware/tools/planted.py     fails if a check passes what it should not

A shrunken barrier, a missing string resistor, a wrong pin, a changed constant. Each is planted where a
person would make it (board, drawing script, tables, notes), what follows from it is made anew as
`hardware/run make` does, and each check named beside it has to fail. The Rust tests read the copy through
SLOTWISE_HARDWARE. First every check runs on an untouched copy: a check that fails always shows nothing.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from check_board import BOARD, names  # noqa: E402
from sexpr import parse  # noqa: E402

HARDWARE = Path(__file__).resolve().parents[1]
# The checks, by what is run; a Rust test by its file and its name.
BOARD_CHECK, NETLIST_CHECK = "check_board.py", "check_netlist.py"
PINS = ("hardware_pins", "the_table_and_the_board_agree")
STRINGS = ("hardware_decks", "the_front_end_is_that_of_the_virtual_tester_and_of_the_core")
PROBE = ("hardware_decks", "the_probe_drives_the_current_that_the_core_divides_by")
NOTES = ("hardware_notes", "the_constants_of_the_theory_are_the_codes")
TELLS = ("error", "missing", "in ngspice", "from the core", "barrier is", "creepage", "theory.md", "assertion", "not ", "GPIO", "gpio", "R20", "R50", "U701")


def replace(folder, name, old, new):
    """Exactly one place of a file, changed."""
    path = folder / name
    text = path.read_text(encoding="utf-8")
    if text.count(old) != 1:
        sys.exit(f"planted.py: {name} has {text.count(old)} places like {old!r}: mend this script")
    path.write_text(text.replace(old, new), encoding="utf-8")


def tool(folder, name, *words):
    subprocess.run([sys.executable, str(folder / "tools" / name), *words], check=True, stdout=subprocess.DEVNULL)


def shrunken_barrier(folder):
    """A piece of ground track between the couplers, on the strip that belongs to nobody."""
    text = BOARD.read_text(encoding="utf-8")
    ground = next(number for number, name in names(parse(text)).items() if name == "GND")
    piece = (f'\t(segment (start 81.5 46.5) (end 81.5 47.5) (width 0.2) (layer "F.Cu") (net {ground})'
             ' (uuid "00000000-0000-4000-8000-000000000001"))\n')
    end = text.rstrip().rfind(")")
    (folder / "board" / BOARD.name).write_text(text[:end] + piece + ")\n", encoding="utf-8")


def missing_string_resistor(folder):
    """R202 is left out of the drawing, and its neighbours joined."""
    drawing = "tools/design/strings.py"
    replace(folder, drawing, "enumerate((58.42, 76.2, 93.98)):\n", "enumerate((58.42, 76.2, 93.98)):\n"
            "            if (row, k) == (0, 1):\n                continue\n")
    replace(folder, drawing, '        s.wire(f"{ref}1.2", f"{ref}2.1")\n        s.wire(f"{ref}2.2", f"{ref}3.1")\n',
            '        if row == 0:\n            s.wire(f"{ref}1.2", f"{ref}3.1")\n        else:\n'
            '            s.wire(f"{ref}1.2", f"{ref}2.1")\n            s.wire(f"{ref}2.2", f"{ref}3.1")\n')
    replace(folder, "parts.csv", "R201 R202 R203 ", "R201 R203 ")
    for name in ("make_schematic.py", "netlist.py", "make_decks.py"):
        tool(folder, name)


def wrong_pin(folder):
    """The pins of P1's two relays exchanged: A would stand on a level, B on the pump."""
    replace(folder, "pins.csv", "\n8,P1 relay A", "\n?,P1 relay A")
    replace(folder, "pins.csv", "\n9,P1 relay B", "\n8,P1 relay B")
    replace(folder, "pins.csv", "\n?,P1 relay A", "\n9,P1 relay A")


def changed_constant(folder):
    """P1 of 81 kohm: in the parts and, to suit them, in the notes. The program has 90."""
    replace(folder, "parts.csv", "R501 R502 R503,probe P1,30k,", "R501 R502 R503,probe P1,27k,")
    replace(folder, "theory.md", "| 90000 |", "| 81000 |")
    for name in ("make_schematic.py", "make_decks.py"):
        tool(folder, name)


FAULTS = [
    ("a shrunken barrier", shrunken_barrier, [BOARD_CHECK]),
    ("a missing string resistor", missing_string_resistor, [NETLIST_CHECK, STRINGS]),
    ("a wrong pin", wrong_pin, [NETLIST_CHECK, PINS]),
    ("a changed constant", changed_constant, [NETLIST_CHECK, NOTES, PROBE]),
]


def copied():
    folder = Path(tempfile.mkdtemp()) / "hardware"
    shutil.copytree(HARDWARE, folder, ignore=shutil.ignore_patterns("figures", "__pycache__", "*.kicad_prl"))
    return folder


def passes(folder, check):
    """Whether a check passes on the copy, and what it printed."""
    if isinstance(check, str):
        command, where = [sys.executable, str(folder / "tools" / check)], folder
    else:
        file, name = check
        command = ["cargo", "test", "--quiet", "-p", "slotwise-tests", "--test", file, "--", "--exact", name]
        where = HARDWARE.parent
    got = subprocess.run(command, cwd=where, env=os.environ | {"SLOTWISE_HARDWARE": str(folder)},
                         capture_output=True, text=True)
    printed = got.stdout + got.stderr
    # A name that no test has passes, too.
    if not isinstance(check, str) and "1 passed" not in printed and "1 failed" not in printed:
        sys.exit(f"planted.py: {' '.join(command)} ran no test:\n{printed}")
    return got.returncode == 0, printed


def told(printed):
    """The lines that say what is wrong, two at most."""
    lines = [" ".join(line.split()) for line in printed.splitlines()]
    telling = [line for line in lines if any(word in line for word in TELLS) and "RUST_BACKTRACE" not in line
               and not line.startswith(("error: test failed", "error: could not", "note:"))]
    return [line[:220] for line in (telling or lines)[:2]]


def main():
    missed = 0
    whole = copied()
    for check in dict.fromkeys(check for _, _, checks in FAULTS for check in checks):
        is_good, printed = passes(whole, check)
        if not is_good:
            sys.exit(f"the untouched folder fails {check}:\n{printed}")
    print("nothing planted: every check passes")
    for words, plant, checks in FAULTS:
        folder = copied()
        plant(folder)
        for check in checks:
            is_good, printed = passes(folder, check)
            name = check if isinstance(check, str) else "::".join(check)
            print(f"{words}: {name} {'DID NOT NOTICE' if is_good else 'fails'}")
            missed += is_good
            for line in [] if is_good else told(printed):
                print(f"    {line}")
        shutil.rmtree(folder.parent)
    shutil.rmtree(whole.parent)
    if missed:
        sys.exit(f"{missed} checks passed what is broken")
    print(f"{len(FAULTS)} faults planted, each noticed")


if __name__ == "__main__":
    main()
