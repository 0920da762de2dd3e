"""Sheet 7: the controller module and its pins (pins.csv)."""

import csv
from pathlib import Path

PINS = Path(__file__).resolve().parents[2] / "pins.csv"


def nets():
    """Net of each GPIO of the table that has one."""
    with PINS.open(newline="", encoding="utf-8") as file:
        return {int(row["gpio"]): row["net"] for row in csv.DictReader(file) if row["net"]}


# Pins of the module.
GPIO = {0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17, 14: 19,
        15: 20, 16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34}


def draw(s):
    s.note("Pins as in pins.csv, which a test holds against the firmware. USB is the only thing that is touched\n"
           "while the plug is in a receptacle: all of this sheet is the safe side.", 25.4, 20.32)
    s.part("U701", "Pico", 139.7, 106.68)
    for gpio, net in nets().items():
        if gpio in GPIO:
            name = f"U701.{GPIO[gpio]}"
            s.stub(name, -17.78 if s.pin(name)[0] < 139.7 else 17.78, net)
    s.unconnected("U701.30", "U701.37", "U701.34", "U701.35", "U701.40")
    x, y = s.pin("U701.39")
    s.wire("U701.39", (x, y - 3.81))
    s.power("VSYS", x, y - 3.81)
    x, y = s.pin("U701.36")
    s.wire("U701.36", (x, y - 3.81))
    s.power("+3V3", x, y - 3.81)
    s.power("GND", *s.pin("U701.3"))
    x, y = s.pin("U701.33")
    s.wire("U701.33", (x + 5.08, y))
    s.power("GND", x + 5.08, y)
    s.part("R701", "R", 50.8, 66.04)
    s.part("R702", "R", 63.5, 66.04)
    for ref, net in (("R701", "I2C_SDA"), ("R702", "I2C_SCL")):
        s.power("+3V3", *s.pin(f"{ref}.1"))
    s.wire("R701.2", (50.8, 78.74), (45.72, 78.74))
    s.label("I2C_SDA", 45.72, 78.74, 180)
    s.wire("R702.2", (63.5, 83.82), (45.72, 83.82))
    s.label("I2C_SCL", 45.72, 83.82, 180)
