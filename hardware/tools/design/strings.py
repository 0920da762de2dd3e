"""Sheet 2: four equal strings to the floating star."""

LEADS = [("NARROW", 0), ("WIDE", 1), ("INNER_GROUND", 2), ("INNER_CLIP", 3)]


def draw(s):
    s.note(
        "Protective impedance: three resistors in series, each able to stand what is left when one is shorted.\n"
        "shared-core/src/front_end.rs: STRING = 3 x 330k, SENSE = 2k4, FILTER = 1k + 1k, FILTER_CAPACITANCE = 10n,\n"
        "INPUT = 300k (the converter's). Gain 2.38347e-3 at 0 Hz, -0.935 degrees at 60 Hz.", 25.4, 22.86)
    for lead, row in LEADS:
        y = 53.34 + row * 35.56
        ref = f"R2{row}"
        s.label(lead, 43.18, y, 180)
        for k, x in enumerate((58.42, 76.2, 93.98)):
            s.part(f"{ref}{k + 1}", "R", x, y, turn=90)
        s.wire((43.18, y), f"{ref}1.1")
        s.wire(f"{ref}1.2", f"{ref}2.1")
        s.wire(f"{ref}2.2", f"{ref}3.1")
        s.part(f"{ref}4", "R", 109.22, y + 7.62)
        s.part(f"{ref}5", "R", 127.0, y, turn=90)
        s.part(f"{ref}6", "R", 127.0, y + 15.24, turn=90)
        s.part(f"C2{row}1", "C", 142.24, y + 7.62)
        s.wire(f"{ref}3.2", f"{ref}5.1")
        s.wire((109.22, y), f"{ref}4.1")
        s.wire(f"{ref}4.2", (109.22, y + 15.24), f"{ref}6.1")
        s.wire(f"{ref}5.2", (142.24, y), (165.1, y))
        s.wire(f"{ref}6.2", (142.24, y + 15.24), (165.1, y + 15.24))
        s.wire(f"C2{row}1.1", (142.24, y))
        s.wire(f"C2{row}1.2", (142.24, y + 15.24))
        s.label(f"AIN{row}P", 165.1, y)
        s.label(f"AIN{row}N", 165.1, y + 15.24)
        s.wire((109.22, y + 15.24), (91.44, y + 15.24))
        s.power("STAR", 91.44, y + 15.24)
    s.note("The four string currents sum to zero:\nthe health check of every window.", 203.2, 53.34)
