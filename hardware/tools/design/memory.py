"""Sheet 8: record memory and clock."""

from design.adc import decouple


def draw(s):
    s.note("Records live in the serial NOR: 8 MiB, sectors of 4 KiB. The clock chip keeps the date on its own cell;\n"
           "every record also carries boot number and milliseconds since boot, so a dead clock loses nothing.", 25.4, 20.32)
    s.part("U801", "NOR", 91.44, 78.74)
    for number, net in ((1, "NOR_CS"), (6, "NOR_SCK"), (5, "NOR_MOSI"), (2, "NOR_MISO")):
        s.stub(f"U801.{number}", -15.24, net)
    x, y = s.pin("U801.3")
    _, y2 = s.pin("U801.7")
    s.wire("U801.3", (x - 5.08, y), (x - 5.08, y2), "U801.7")
    s.wire((x - 5.08, y2), (x - 5.08, y2 + 7.62), (x - 22.86, y2 + 7.62))
    s.power("+3V3", x - 22.86, y2 + 7.62)
    s.power("+3V3", *s.pin("U801.8"))
    s.power("GND", *s.pin("U801.4"))
    s.part("U802", "Clock", 198.12, 78.74)
    s.stub("U802.8", -12.7, "I2C_SCL")
    s.stub("U802.7", -12.7, "I2C_SDA")
    s.unconnected("U802.4", "U802.1", "U802.3")
    x, y = s.pin("U802.2")
    s.wire("U802.2", (x, y - 5.08))
    s.power("+3V3", x, y - 5.08)
    s.power("GND", *s.pin("U802.5"))
    s.part("BT801", "Battery_Cell", 160.02, 66.04, ref_at=(163.83, 63.5), value_at=(163.83, 66.04), aligned="left")
    x, y = s.pin("U802.6")
    bx, by = s.pin("BT801.1")
    s.wire("U802.6", (x, 55.88), (bx, 55.88), (bx, by))
    s.power("PWR_FLAG", 172.72, 55.88)
    s.power("GND", *s.pin("BT801.2"))
    for n, ref in enumerate(("C801", "C802", "C803")):
        decouple(s, ref, 91.44 + n * 27.94, 139.7, "+3V3", "GND")
