"""Sheet 5: probe P1, and the logic of all relays."""

INPUTS = [("P1_PUMP", "R508"), ("P1_HOLD", "R509"), ("P2_GROUND", "R510"), ("P2_CLIP", "R511"), ("P2_TONE", "R512")]


def draw(s):
    s.note("P1: 90 kohm from narrow to the inner ground node, 1.33 mA at 120 V. Relay A is closed only while P1_PUMP\n"
           "toggles every frame: no direct current from any supply can reach its LED. Relay B is closed by level.",
           15.24, 17.78)
    # Inverters with their pull-downs.
    rows = {1: (38.1, "P1_PUMP", "R508"), 3: (76.2, "P1_HOLD", "R509"), 4: (99.06, "P2_GROUND", "R510"),
            5: (121.92, "P2_CLIP", "R511"), 6: (144.78, "P2_TONE", "R512")}
    for unit, (y, net, pull) in rows.items():
        s.part("U501", "Inverters", 60.96, y, unit=unit, hide_value=True)
        pin = {1: "1", 3: "5", 4: "9", 5: "11", 6: "13"}[unit]
        s.label(net, 30.48, y, 180)
        s.wire((30.48, y), f"U501.{pin}")
        s.part(pull, "R", 45.72, y + 6.35, ref_at=(48.26, y + 5.08), value_at=(48.26, y + 7.62))
        s.wire(f"{pull}.1", (45.72, y))
        s.power("GND", *s.pin(f"{pull}.2"))
    s.part("U501", "Inverters", 91.44, 55.88, unit=2, hide_value=True)
    s.wire("U501.2", (73.66, 38.1))
    s.wire((73.66, 38.1), (73.66, 55.88), "U501.3")
    # Charge pump: both phases of the pin.
    s.part("R504", "R", 111.76, 38.1, turn=90)
    s.part("R505", "R", 111.76, 55.88, turn=90)
    s.wire((73.66, 38.1), "R504.1")
    s.wire("U501.4", "R505.1")
    s.part("C501", "C", 125.73, 38.1, turn=90)
    s.part("C502", "C", 125.73, 55.88, turn=90)
    s.wire("R504.2", "C501.1")
    s.wire("R505.2", "C502.1")
    s.part("D501", "BAT54S", 147.32, 33.02, ref_at=(140.97, 27.94), value_at=(151.13, 27.94), aligned="left")
    s.part("D502", "BAT54S", 147.32, 50.8, ref_at=(140.97, 45.72), value_at=(151.13, 45.72), aligned="left")
    for diode, cap in (("D501", "C501"), ("D502", "C502")):
        x, y = s.pin(f"{diode}.3")
        s.wire(f"{cap}.2", (x, y))
        ax, ay = s.pin(f"{diode}.1")
        s.wire((ax, ay), (ax - 2.54, ay))
        s.power("GND", ax - 2.54, ay + 2.54)
        s.wire((ax - 2.54, ay), (ax - 2.54, ay + 2.54))
    kx, ky = s.pin("D501.2")
    s.wire("D501.2", (165.1, ky), (165.1, 50.8))
    s.wire("D502.2", (165.1, 50.8))
    s.part("C503", "C", 165.1, 59.69)
    s.wire("C503.1", (165.1, 50.8))
    s.power("GND", *s.pin("C503.2"))
    s.part("R506", "R", 180.34, 50.8, turn=90)
    s.wire((165.1, 50.8), "R506.1")
    # Relays.
    s.part("K501", "MOS_Relay", 213.36, 53.34)
    s.wire("R506.2", "K501.1")
    s.part("R513", "R", 190.5, 60.96, ref_at=(193.04, 62.23), value_at=(193.04, 64.77))
    s.wire("R513.1", (190.5, 50.8))
    s.power("GND", *s.pin("R513.2"))
    x, y = s.pin("K501.2")
    s.wire("K501.2", (x - 5.08, y))
    s.power("GND", x - 5.08, y)
    s.part("K502", "MOS_Relay", 213.36, 78.74)
    s.part("R507", "R", 180.34, 76.2, turn=90)
    s.wire("R507.2", "K502.1")
    x, y = s.pin("R507.1")
    s.wire((x, y), (x - 7.62, y))
    s.label("CLIP_N", x - 7.62, y, 180)
    hx, hy = s.pin("K502.2")
    s.wire((68.58, 76.2), (83.82, 76.2), (83.82, 81.28), (hx, hy))
    s.wire((83.82, 81.28), (83.82, 88.9), (91.44, 88.9))
    s.label("HOLD_N", 91.44, 88.9)
    for y, net in ((99.06, "GROUND_N"), (121.92, "CLIP_N"), (144.78, "TONE_N")):
        s.wire((68.58, y), (91.44, y))
        s.label(net, 91.44, y)
    # Mains side.
    s.barrier(213.36, 33.02, 104.14)
    s.note("safe side", 196.85, 101.6)
    s.note("mains", 218.44, 101.6)
    for k, ref in enumerate(("R501", "R502", "R503")):
        s.part(ref, "R", 266.7, 30.48 + k * 10.16 + 5.08)
    s.label("NARROW", 259.08, 27.94, 180)
    s.wire((259.08, 27.94), (266.7, 27.94), "R501.1")
    s.wire("R501.2", "R502.1")
    s.wire("R502.2", "R503.1")
    x, y = s.pin("R503.2")
    ax, ay = s.pin("K501.6")
    bx, by = s.pin("K501.4")
    s.wire((x, y), (x, 66.04), (236.22, 66.04), (236.22, ay), (ax, ay))
    cx, cy = s.pin("K502.6")
    s.wire((bx, by), (bx + 7.62, by), (bx + 7.62, cy), (cx, cy))
    dx, dy = s.pin("K502.4")
    s.wire((dx, dy), (dx + 10.16, dy))
    s.label("INNER_GROUND", dx + 10.16, dy)
    # Supply of the logic.
    s.part("U501", "Inverters", 127.0, 121.92, unit=7)
    s.power("+3V3", *s.pin("U501.14"))
    s.power("GND", *s.pin("U501.7"))
    s.part("C504", "C", 144.78, 121.92)
    s.power("+3V3", *s.pin("C504.1"))
    s.power("GND", *s.pin("C504.2"))
    s.note("Locks in hardware, one resistor each: K502 takes its LED current from CLIP_N, K602 from GROUND_N, K601 from\n"
           "HOLD_N. A line that lights one LED starves the next, so no two of P1, P2 to ground and P2 to the clip can be\n"
           "closed together, whatever the program does.\n"
           "Pull-downs: everything is open while the Pico is in reset.", 109.22, 144.78)
