"""Sheet 3: the converter and its oscillator, on the star."""


def decouple(s, ref, x, y, rail, ground):
    """A capacitor from a rail down to a ground."""
    s.part(ref, "C", x, y)
    s.power(rail, *s.pin(f"{ref}.1"))
    s.power(ground, *s.pin(f"{ref}.2"))


def draw(s):
    s.note("24 bit, four channels at once, 4000 frames/s from its own 8.192 MHz oscillator: the board that\n"
           "judges counts frames, so the two clocks check each other. AGND and DGND are the star.", 25.4, 22.86)
    s.part("U301", "Converter", 116.84, 96.52)
    for n in range(4):
        s.stub(f"U301.{(3, 6, 7, 10)[n]}", -10.16, f"AIN{n}P")
        s.stub(f"U301.{(4, 5, 8, 9)[n]}", -10.16, f"AIN{n}N")
    for number, net in ((14, "STAR_SCK"), (16, "STAR_MOSI"), (15, "STAR_MISO"), (12, "STAR_CS"),
                        (13, "STAR_DRDY"), (11, "STAR_SYNC")):
        s.stub(f"U301.{number}", 12.7, net)
    ax, ay = s.pin("U301.1")
    dx, _ = s.pin("U301.20")
    s.wire("U301.1", (ax, ay - 5.08), (dx, ay - 5.08), "U301.20")
    s.power("+3V3_STAR", ax, ay - 5.08)
    gx, gy = s.pin("U301.2")
    hx, _ = s.pin("U301.19")
    s.wire("U301.2", (gx, gy + 5.08), (hx, gy + 5.08), "U301.19")
    s.power("STAR", gx, gy + 5.08)
    cx, cy = s.pin("U301.18")
    s.part("C305", "C", cx + 10.16, cy + 3.81)
    s.wire("U301.18", (cx + 10.16, cy))
    s.power("STAR", *s.pin("C305.2"))
    s.part("Y301", "Oscillator", 205.74, 83.82)
    kx, ky = s.pin("U301.17")
    s.wire("U301.17", (kx + 35.56, ky), (kx + 35.56, 66.04), (226.06, 66.04), (226.06, 83.82), "Y301.3")
    s.label("STAR_CLK", 172.72, 66.04, 0, "local")
    ex, ey = s.pin("Y301.1")
    vx, vy = s.pin("Y301.4")
    s.wire("Y301.1", (ex - 5.08, ey), (ex - 5.08, vy - 2.54), (vx, vy - 2.54), "Y301.4")
    s.power("+3V3_STAR", ex - 5.08, vy - 2.54)
    s.power("STAR", *s.pin("Y301.2"))
    for n, ref in enumerate(("C301", "C302", "C303", "C304", "C306", "C307")):
        decouple(s, ref, 40.64 + n * 25.4, 152.4, "+3V3_STAR", "STAR")
    s.note("C301 C302 at AVDD; C303 C304 at DVDD; C306 C307 at the oscillator", 38.1, 170.18)
