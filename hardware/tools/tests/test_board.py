"""The board keeps its rules, and a shrunken barrier or an exchanged pad is noticed."""

import re
import shutil
import sys
import tempfile
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import check_board as check  # noqa: E402
from netlist import load, parts_list  # noqa: E402
from placement import BARRIER, HEIGHT, PLACES, WIDTH  # noqa: E402
from sexpr import parse  # noqa: E402
from step_figures import step_of  # noqa: E402


class Board(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.text = check.BOARD.read_text(encoding="utf-8")
        cls.tree, cls.net = parse(cls.text), load()
        cls.ground = next(number for number, name in check.names(cls.tree).items() if name == "GND")

    def mutant(self, x):
        """The board with a piece of ground track that stands at `x`, between the couplers."""
        piece = (f'\t(segment (start {x} 46.5) (end {x} 47.5) (width 0.2) (layer "F.Cu") (net {self.ground})'
                 ' (uuid "00000000-0000-4000-8000-000000000001"))\n')
        end = self.text.rstrip().rfind(")")
        return self.text[:end] + piece + ")\n"

    def test_pads_are_on_their_nets(self):
        self.assertEqual(check.nets_agree(self.tree, self.net), [])
        one, other = self.net.net("K501", "4"), self.net.net("K501", "6")
        exchanged = self.net.edited(part="K501", pin=4, net=other).edited(part="K501", pin=6, net=one)
        self.assertTrue(check.nets_agree(self.tree, exchanged))

    def test_the_barrier_is_as_wide_as_it_says(self):
        gap, *_ = check.barrier_gap(self.tree, self.net)
        self.assertGreaterEqual(gap, check.REINFORCED)

    def test_every_part_comes_on_in_one_step(self):
        self.assertEqual([ref for ref in parts_list() if step_of(ref) is None], [])
        self.assertIsNone(step_of("R1103"))

    def case(self):
        """Figures of the case by name."""
        text = (check.BOARD.parents[1] / "enclosure.scad").read_text(encoding="utf-8")
        return {name: [float(x) for x in value.strip("[]").split(",")]
                for name, value in re.findall(r"^(\w+) = (\[[^]]*\]|[\d.]+);", text, re.M)}

    def test_the_openings_of_the_case_stand_over_their_parts(self):
        case = self.case()
        lamps = [PLACES[f"D90{n}"] for n in range(1, 7)]
        self.assertEqual(case["board"][:2], [WIDTH, HEIGHT])
        self.assertEqual(case["barrier"], [BARRIER])
        self.assertEqual({x for x, _, _ in lamps}, set(case["lamp_x"]))
        self.assertEqual([y for _, y, _ in lamps], case["lamp_y"])
        self.assertEqual(case["usb"][0], PLACES["U701"][0])
        self.assertEqual(tuple(case["button"]), PLACES["SW901"][:2])
        self.assertEqual([case["cord_y"][0], case["clip_y"][0]], [PLACES["J101"][1], PLACES["J102"][1]])

    def test_a_shrunken_barrier_is_noticed(self):
        text = self.mutant(81.5)
        gap, one, other = check.barrier_gap(parse(text), self.net)
        self.assertLess(gap, check.REINFORCED)
        print(f"noticed: barrier of {gap:.2f} mm between {one} and {other}")
        with tempfile.TemporaryDirectory() as folder:
            for name in ("slotwise.kicad_pro", "slotwise.kicad_dru"):
                shutil.copy(check.BOARD.with_name(name), folder)
            board = Path(folder) / "slotwise.kicad_pcb"
            board.write_text(text, encoding="utf-8")
            holds, report = check.drc(board)
        self.assertFalse(holds)
        self.assertIn("[creepage]", report)
        print("noticed: " + next(line for line in report.splitlines() if "creepage" in line.lower()))


if __name__ == "__main__":
    unittest.main()
