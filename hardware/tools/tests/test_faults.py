"""The fault table is whole and within its limits, and what breaks it is noticed."""

import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import faults  # noqa: E402
from netlist import load  # noqa: E402


class Faults(unittest.TestCase):
    def setUp(self):
        self.net, self.rows = load(), faults.read_table()

    def test_the_table_is_whole_and_within_its_limits(self):
        self.assertEqual(faults.broken(self.net, self.rows), [])

    def test_a_part_without_a_row_is_noticed(self):
        for part in ("R101", "K502", "U603", "C404"):
            rows = [row for row in self.rows if row["designator"] != part]
            self.assertTrue(faults.broken(self.net, rows))

    def test_a_row_beyond_a_limit_is_noticed(self):
        for key, value in (("earth_ma", "4.000"), ("touch_ma", "3.500"), ("volts_share", "1.01"), ("heat_share", "1.2")):
            rows = [dict(row) for row in self.rows]
            rows[5][key] = value
            self.assertEqual(len(faults.broken(self.net, rows)), 1, key)

    def test_a_circuit_that_does_not_bear_a_fault_is_noticed(self):
        # Without its base resistor a transistor of a limiter passes by the source resistance what a failed FET lets through.
        mutant = self.net.edited(part="R616", value="1R").edited(part="R612", value="1R")
        _, _, worst, _ = faults.one(mutant, "Q611", "short")
        print(f"noticed: R612 and R616 of 1 ohm, Q611 short: {worst['earth'][0]:.1f} mA at {worst['earth'][1]}")
        self.assertGreater(worst["earth"][0], faults.TRIP_MA)

    def test_one_resistor_for_three_is_noticed(self):
        mutant = self.net.edited(part="R502", value="1R").edited(part="R503", value="1R")
        _, _, worst, _ = faults.one(mutant, "firmware", "P1 closed")
        print(f"noticed: P1 of 30 kohm: {worst['earth'][0]:.1f} mA at {worst['earth'][1]}")
        self.assertGreater(worst["earth"][0], faults.TRIP_MA)


if __name__ == "__main__":
    unittest.main()
