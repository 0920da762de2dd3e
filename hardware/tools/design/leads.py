"""Sheet 1: what reaches the outside: mains cord, reference resistor, clip lead."""


def draw(s):
    s.note(
        "Cord: narrow, wide and ground by the SLOT they end in, found with an ohmmeter. Colours prove nothing.\n"
        "The ground string, probe P1 and drive P2 end at the inner ground node, so what they read holds R_cal:\n"
        "a live probe can never read less than 10 ohm. A reading of 0 ohm is a broken tester, not a good ground.\n"
        "So does R102 for the clip: a current of P2 to the clip reads 10 ohm at least.",
        25.4, 25.4)
    s.part("J101", "Conn_3", 63.5, 76.2, mirror="y", ref_at=(58.42, 73.66), value_at=(58.42, 78.74), aligned="left")
    for pin, y, net in (("J101.1", 66.04, "NARROW"), ("J101.2", 76.2, "WIDE")):
        x, at = s.pin(pin)
        s.wire(pin, (x + 5.08, at), (x + 5.08, y), (116.84, y))
        s.label(net, 116.84, y)
    s.part("R101", "R", 96.52, 86.36, turn=90)
    x, at = s.pin("J101.3")
    s.wire("J101.3", (x + 2.54, at), (x + 2.54, 86.36), "R101.1")
    s.stub("R101.2", 16.51, "INNER_GROUND")
    s.label("GROUND_PIN", 73.66, 86.36, 0, "local")
    s.part("J102", "Conn_1", 63.5, 114.3, mirror="y", ref_at=(58.42, 113.03), value_at=(58.42, 115.57), aligned="left")
    s.part("R102", "R", 96.52, 114.3, turn=90)
    s.wire("J102.1", "R102.1")
    s.stub("R102.2", 16.51, "INNER_CLIP")
    s.label("CLIP", 73.66, 114.3, 0, "local")
    s.note("The clip lead is touched. Nothing but its string (990 kohm to the star) and the open relay K602\n"
           "behind a limiter stands between it and the blades. R102 limits nothing: it proves a current.", 25.4, 127.0)
    s.note("No fuse: every way from a blade passes 3 x 330k, 3 x 30k or a limiter of 3 mA.\n"
           "No varistor and no capacitor to ground: their leakage would be read as ground current.", 25.4, 142.24)
