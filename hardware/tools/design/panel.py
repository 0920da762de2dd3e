"""Sheet 9: lamps, button, display."""

LAMPS = ["LAMP_LIVE", "LAMP_WIRED", "LAMP_EARTH", "LAMP_SUPPLY", "LAMP_STEADY", "LAMP_PROVEN"]
QUESTIONS = ["Live metal!", "Wired right?", "Earth path sound?", "Supply in band?", "Steady under load?",
             "Proven against another earth?"]


def draw(s):
    s.note("One column, from the top; each beside its printed question. Steady = yes, slow blink = unsure,\n"
           "fast blink = no, off = not asked yet. The first is red and lit only when a danger was found.", 25.4, 20.32)
    for n, (net, question) in enumerate(zip(LAMPS, QUESTIONS)):
        y = 48.26 + n * 17.78
        s.label(net, 45.72, y, 180)
        s.part(f"R90{n + 1}", "R", 63.5, y, turn=90)
        s.wire((45.72, y), f"R90{n + 1}.1")
        s.part(f"D90{n + 1}", "LED", 91.44, y, turn=180, ref_at=(88.9, y - 3.81), value_at=(91.44, y + 2.54))
        s.wire(f"R90{n + 1}.2", f"D90{n + 1}.2")
        x, _ = s.pin(f"D90{n + 1}.1")
        s.wire((x, y), (x + 7.62, y), (x + 7.62, y + 2.54))
        s.power("GND", x + 7.62, y + 2.54)
        s.note(question, 116.84, y - 1.27)
    s.part("SW901", "Button", 205.74, 60.96)
    s.stub("SW901.1", -15.24, "BUTTON")
    x, y = s.pin("SW901.2")
    s.wire("SW901.2", (x + 5.08, y), (x + 5.08, y + 2.54))
    s.power("GND", x + 5.08, y + 2.54)
    s.note("Pull-up inside the Pico.", 187.96, 71.12)
    s.part("J901", "Conn_4", 210.82, 104.14, ref_at=(214.63, 102.87), value_at=(214.63, 105.41), aligned="left")
    x, y = s.pin("J901.1")
    s.wire("J901.1", (x - 2.54, y), (x - 2.54, y - 10.16), (x - 5.08, y - 10.16), (x - 5.08, y - 7.62))
    s.power("GND", x - 5.08, y - 7.62)
    x, y = s.pin("J901.2")
    s.wire("J901.2", (x - 17.78, y), (x - 17.78, y - 10.16))
    s.power("+3V3", x - 17.78, y - 10.16)
    s.stub("J901.3", -12.7, "I2C_SCL")
    s.stub("J901.4", -12.7, "I2C_SDA")
    s.note("Optional: nothing depends on it.", 187.96, 121.92)
