"""Which parts are on a mains net follows from the netlist, part by part as a reader of the sheets would say."""

import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faults import failures, read_table  # noqa: E402
from mains import mains_nets, mains_parts  # noqa: E402
from netlist import load  # noqa: E402


class Mains(unittest.TestCase):
    def setUp(self):
        self.net = load()
        self.parts = set(mains_parts(self.net))

    def test_leads_strings_probe_and_both_legs_are(self):
        strings = {f"R2{row}{k}" for row in range(4) for k in (1, 2, 3)}
        probe = {"R501", "R502", "R503", "K501", "K502"}
        legs = {f"{letter}6{leg}{k}" for leg in "12" for letter, numbers in (("Q", "1234"), ("R", "0123456789")) for k in numbers}
        self.assertEqual(self.parts, {"R101", "R102", "R608", "U603", "K601", "K602"} | strings | probe | legs)

    def test_what_stands_behind_a_string_or_a_chip_is_not(self):
        nets = mains_nets(self.net)
        for net in ("STAR", "AIN0P", "+3V3_STAR", "DRIVE_COM", "+6V_DRIVE", "+12V_DRIVE", "GND", "TONE_N", "HOLD_N", "P2_RAISE"):
            self.assertNotIn(net, nets)
        for net in ("INNER_GROUND", "INNER_CLIP", "DRIVE_RETURN"):
            self.assertIn(net, nets)

    def test_a_part_that_is_moved_to_a_lead_is_noticed(self):
        self.assertIn("C603", mains_parts(self.net.edited(part="C603", pin=1, net="WIDE")))
        self.assertIn("R205", mains_parts(self.net.edited(part="R205", pin=1, net="INNER_CLIP")))

    def test_every_one_of_them_has_its_rows_and_the_table_says_so(self):
        rows = read_table()
        self.assertEqual({row["designator"] for row in rows if row["on_mains"] == "yes"}, self.parts)
        for part in self.parts:
            for failure in ("open", "short"):
                self.assertIn((part, failure), failures(self.net))


if __name__ == "__main__":
    unittest.main()
