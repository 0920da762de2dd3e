"""Which nets and parts are on a mains net.

A net is on a mains net where a lead (narrow, wide, ground, clip) reaches it through what carries the
line's current or holds it: resistors, contacts, FETs and transistors. Not through the last resistor of a
string's protective impedance: the foot of a string is behind 990 kohm. Not through a chip: what supplies the
bridge floats with it and carries nothing to ground. A part is on a mains net with a pin on such a net; what is
soldered to the cord and the clip lead is not a part that fails.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from check_netlist import OUTSIDE, string_parts  # noqa: E402

CONTACTS = ("4", "6")  # of a relay; its LED is behind insulation


def passed(part, pins):
    """The nets that a part joins as a way of current; none for what is no way."""
    if part[0] == "R":
        return set(pins.values())
    if part[0] == "K":
        return {pins[pin] for pin in CONTACTS if pin in pins}
    return set(pins.values()) if part[0] == "Q" else set()


def mains_nets(net):
    last = {string_parts(row)[-1] for row in range(4)}
    ways = [passed(part, pins) for part, pins in net.pins.items() if part not in last]
    found, more = set(), set(OUTSIDE)
    while more:
        found |= more
        more = {name for way in ways if way & found for name in way} - found
    return found


def mains_parts(net):
    """Parts with a pin on a mains net, but for the pads of cord and clip lead."""
    nets = mains_nets(net)
    return sorted(part for part, pins in net.pins.items() if part[0] != "J" and set(pins.values()) & nets)
