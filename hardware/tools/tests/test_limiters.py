"""The test of P2's limiters at the ends of what it meets: cold and warm, FETs from -1.4 to -3.1 V of cut-off.

A whole limiter must be within the limits of the core there, and every failure of one of its parts beyond
them in one half of the tone at least, or carry no current. The fault table has the same at 25 degC with typical FETs.
"""

import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faults import RISE_LEAST, RISE_MOST, failures, levels_of  # noqa: E402
from netlist import load  # noqa: E402
from self_readings import rises_at  # noqa: E402

# The slowest to see, by the figures at all nine: a limit that moved up by the FET's cut-off, or down by the cold.
CORNERS = ((0, -3.1), (25, -2.2), (50, -1.4))


class Limiters(unittest.TestCase):
    def setUp(self):
        self.net = load()

    def test_a_whole_limiter_holds(self):
        for celsius in (0, 50):
            for vto in (-1.4, -3.1):
                for rise in rises_at(self.net, "none", "none", None, celsius, vto):
                    self.assertTrue(RISE_LEAST < rise < RISE_MOST, (celsius, vto, rise))

    def test_every_failure_of_a_limiter_shows(self):
        of_leg = [what for what in failures(self.net) if what[0][:3] in ("R61", "Q61") or what[0] in ("R608", "K601", "U604")]
        self.assertGreater(len(of_leg), 40)
        for celsius, vto in CORNERS:
            for part, failure in of_leg:
                if (part, failure) == ("K601", "short"):
                    continue  # closed it carries the current as before: the test of the relays finds it
                found = rises_at(self.net, part, failure, levels_of(self.net, part, failure), celsius, vto)[:2]
                shows = any(rise is None or not RISE_LEAST <= rise <= RISE_MOST for rise in found)
                self.assertTrue(shows, (celsius, vto, part, failure, found))

    def test_a_fet_that_the_parts_list_forbids_would_hide_one(self):
        found = rises_at(self.net, "R616", "short", None, 0, -4.5)[:2]
        print(f"noticed: FETs of -4.5 V, R616 shorted, 0 degC: rise {found[0]:.2f} and {found[1]:.2f}, as if it held")
        self.assertTrue(all(RISE_LEAST <= rise <= RISE_MOST for rise in found))


if __name__ == "__main__":
    unittest.main()
