"""Every rule over the netlist holds, and fails when what it guards is broken."""

import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import check_netlist as rules  # noqa: E402
from netlist import load, parts_list  # noqa: E402


class Netlist(unittest.TestCase):
    def setUp(self):
        self.net = load()

    def broken(self, mutant, rule, why):
        found = rule(mutant)
        self.assertTrue(found, f"not noticed: {why}")
        print(f"noticed: {why}: {found[0]}")

    def test_the_netlist_keeps_every_rule(self):
        self.assertEqual(rules.check(self.net), [])

    def test_a_removed_string_resistor_is_noticed(self):
        # Taken out and bridged, as a builder would who lacks one.
        for row in range(4):
            for part in rules.string_parts(row):
                a, b = self.net.net(part, 1), self.net.net(part, 2)
                mutant = self.net.edited(without=part)
                rows = [(p, n, m, a if net == b else net) for p, n, m, net in mutant.rows]
                self.broken(type(mutant)(rows, mutant.values), rules.strings, f"{part} bridged")
                self.broken(mutant, rules.strings, f"{part} missing")

    def test_a_string_resistor_of_another_value_is_noticed(self):
        self.broken(self.net.edited(part="R212", value="33k"), rules.strings, "R212 of 33k")

    def test_a_short_way_to_the_converter_is_noticed(self):
        mutant = self.net.edited(part="R205", pin=1, net="NARROW")
        self.broken(mutant, rules.strings, "filter on the slot")

    def test_exchanged_converter_inputs_are_noticed(self):
        one, other = self.net.net("U301", 3), self.net.net("U301", 6)
        mutant = self.net.edited(part="U301", pin=3, net=other).edited(part="U301", pin=6, net=one)
        self.broken(mutant, rules.strings, "AIN0P and AIN1P exchanged")

    def test_a_part_over_the_barrier_is_noticed(self):
        self.broken(self.net.edited(part="C404", pin=2, net="GND"), rules.barrier, "C404 from star to ground")
        self.broken(self.net.edited(part="R101", pin=2, net="GND"), rules.barrier, "R_cal to ground")
        self.broken(self.net.edited(part="K501", pin=4, net="+3V3"), rules.barrier, "contact of K501 on 3.3 V")

    def test_the_drive_on_the_star_is_noticed(self):
        self.broken(self.net.edited(part="U603", pin=3, net="STAR"), rules.apart, "bridge on the star")

    def test_what_sits_before_r_cal_is_noticed(self):
        self.broken(self.net.edited(part="R221", pin=1, net="GROUND_PIN"), rules.reference, "ground string before R_cal")
        self.broken(self.net.edited(part="R101", value="1R"), rules.reference, "R_cal of 1 ohm")
        self.broken(self.net.edited(part="R231", pin=1, net="CLIP"), rules.reference, "clip's string before R102")
        self.broken(self.net.edited(part="R102", value="1R"), rules.reference, "R102 of 1 ohm")

    def test_a_relay_missing_from_the_probe_is_noticed(self):
        self.broken(self.net.edited(part="K502", pin=6, net="INNER_GROUND"), rules.probe, "K502 bridged")
        self.broken(self.net.edited(without="R502"), rules.probe, "R502 missing")
        self.broken(self.net.edited(part="R503", value="3k"), rules.probe, "R503 of 3k")

    def test_a_broken_limiter_is_noticed(self):
        self.broken(self.net.edited(part="R611", value="22R"), rules.drive, "R611 of 22R")
        self.broken(self.net.edited(part="Q613", pin=3, net=self.net.net("Q612", 3)), rules.drive, "Q613 off its gate")
        self.broken(self.net.edited(without="R608"), rules.drive, "R608 missing")
        self.broken(self.net.edited(without="Q622"), rules.drive, "Q622 missing")
        self.broken(self.net.edited(part="K602", pin=6, net="DRIVE_RETURN"), rules.drive, "K602 before its limiter")

    def test_a_base_without_its_divider_is_noticed(self):
        self.broken(self.net.edited(without="R619"), rules.drive, "R619 missing")
        self.broken(self.net.edited(part="R627", value="280k"), rules.drive, "R627 of 280k")

    def test_a_level_of_the_drive_that_is_not_its_own_is_noticed(self):
        self.broken(self.net.edited(part="R603", value="10k"), rules.levels, "R603 of 10k")
        self.broken(self.net.edited(part="U604", pin=4, net=self.net.net("U601", 2)), rules.levels, "U604 at the reference")
        self.broken(self.net.edited(part="R609", pin=1, net="+3V3"), rules.levels, "always raised")
        self.broken(self.net.edited(part="R601", value="47R"), rules.levels, "R601 of 47R")

    def test_a_lock_taken_out_is_noticed(self):
        for part, pin in (("R507", 1), ("R604", 2), ("R605", 2)):
            self.broken(self.net.edited(part=part, pin=pin, net="+3V3"), rules.locks, f"{part} on 3.3 V")

    def test_a_bridged_pump_is_noticed(self):
        a = self.net.net("R504", 2)
        self.broken(self.net.edited(part="R506", pin=1, net=a), rules.pump, "pump bridged")
        self.broken(self.net.edited(part="C503", value="4u7"), rules.pump, "C503 of 4u7")

    def test_a_wrong_pin_is_noticed(self):
        one, other = self.net.net("U701", 11), self.net.net("U701", 12)
        mutant = self.net.edited(part="U701", pin=11, net=other).edited(part="U701", pin=12, net=one)
        self.broken(mutant, rules.pins, "relay pins exchanged")

    def test_a_part_without_a_row_is_noticed(self):
        listed = parts_list()
        del listed["K501"]
        self.assertTrue(rules.parts(self.net, listed))
        listed = {ref: dict(row) for ref, row in parts_list().items()}
        listed["R201"]["voltage"] = "150 V"
        self.assertTrue(rules.parts(self.net, listed))
        listed = {ref: dict(row) for ref, row in parts_list().items()}
        listed["PS401"]["approval"] = "1 kV test"
        self.assertTrue(rules.parts(self.net, listed))


if __name__ == "__main__":
    unittest.main()
