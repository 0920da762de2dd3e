"""The project's symbol library: symbols of the installed KiCad libraries under the project's own
names, and the few that they lack (isolated supply, power symbols of the floating domains).

Every symbol of the schematic comes from here, so that the sheets open and pass their checks
wherever KiCad 9 is, with whatever libraries. Their drawings are KiCad's (CC-BY-SA 4.0 with the exception
for designs), used as part of this design.
"""

from copy import deepcopy
from pathlib import Path

from sexpr import Text, find, find_all, parse

INSTALLED = Path("/usr/share/kicad/symbols")

# Project name: library, name there.
BORROWED = {
    "R": ("Device", "R"),
    "C": ("Device", "C"),
    "L": ("Device", "L"),
    "LED": ("Device", "LED"),
    "D_Schottky": ("Device", "D_Schottky"),
    "Battery_Cell": ("Device", "Battery_Cell"),
    "BAT54S": ("Diode", "BAT54S"),
    "NPN": ("Transistor_BJT", "MMBT3904"),
    "Depletion_FET": ("Transistor_FET", "BSP129"),
    "TL431": ("Reference_Voltage", "TL431DBZ"),
    "Coupler": ("Isolator", "SFH617A-2X006"),
    "Isolator": ("Isolator", "ISO7762FDW"),
    "Converter": ("Analog_ADC", "ADS131M04xPW"),
    "Oscillator": ("Oscillator", "ASE-xxxMHz"),
    "Regulator": ("Regulator_Linear", "TLV70033_SOT23-5"),
    "MOS_Relay": ("Relay_SolidState", "TLP3542"),
    "Inverters": ("74xx", "74HC04"),
    "Bridge_Driver": ("Driver_FET", "TC4428xOA"),
    "Pico": ("MCU_Module", "RaspberryPi_Pico"),
    "NOR": ("Memory_Flash", "W25Q32JVSS"),
    "Clock": ("Timer_RTC", "DS3231MZ"),
    "Button": ("Switch", "SW_Push"),
    "Conn_1": ("Connector_Generic", "Conn_01x01"),
    "Conn_2": ("Connector_Generic", "Conn_01x02"),
    "Conn_3": ("Connector_Generic", "Conn_01x03"),
    "Conn_4": ("Connector_Generic", "Conn_01x04"),
    "Boost": ("Regulator_Switching", "MCP1640x-xCHY"),
    "PWR_FLAG": ("power", "PWR_FLAG"),
}

# Pins whose electrical type here is another than in the library: the module's analog ground is
# joined to its ground; write protect and hold are tied to the supply.
RETYPED = {"Pico": {"33": "passive"}, "NOR": {"3": "input", "7": "input"}}

# Power symbols: name, and the shape it borrows from the library `power`.
POWERS = {
    "GND": "GND",
    "STAR": "GNDA",
    "DRIVE_COM": "GNDA",
    "+3V3": "+3V3",
    "+5V": "+3V3",
    "+3V3_STAR": "+3V3",
    "+5V_STAR": "+3V3",
    "+6V_DRIVE": "+3V3",
    "+12V_DRIVE": "+3V3",
    "VSYS": "+3V3",
}

_files = {}


def _installed(library):
    if library not in _files:
        text = (INSTALLED / f"{library}.kicad_sym").read_text(encoding="utf-8")
        _files[library] = {str(s[1]): s for s in find_all(parse(text), "symbol")}
    return _files[library]


def _borrow(name, library, original):
    symbols = _installed(library)
    symbol = deepcopy(symbols[original])
    parent = find(symbol, "extends")
    if parent:
        base = deepcopy(symbols[str(parent[1])])
        own = {str(p[1]): p for p in find_all(symbol, "property")}
        symbol = [own.get(str(i[1]), i) if isinstance(i, list) and i[0] == "property" else i for i in base]
        original = str(parent[1])
    symbol[1] = Text(name)
    for unit in find_all(symbol, "symbol"):
        unit[1] = Text(unit[1].replace(original, name, 1))
    symbol = [i for i in symbol if not (isinstance(i, list) and i[0] == "embedded_fonts")]
    for prop in find_all(symbol, "property"):
        if str(prop[1]) in ("ki_keywords", "ki_fp_filters", "Datasheet", "Sim.Device", "Sim.Pins"):
            prop[2] = Text("")
        elif str(prop[1]) in ("Value", "Footprint"):
            prop[2] = Text(name if str(prop[1]) == "Value" else "")
    for unit in find_all(symbol, "symbol"):
        for pin in find_all(unit, "pin"):
            pin[1] = RETYPED.get(name, {}).get(str(find(pin, "number")[1]), pin[1])
    return symbol


def _pin(kind, x, y, angle, name, number, is_hidden=False):
    pin = ["pin", kind, "line", ["at", x, y, angle], ["length", 2.54]]
    if is_hidden:
        pin.append(["hide", "yes"])
    font = ["effects", ["font", ["size", 1.27, 1.27]]]
    return pin + [["name", Text(name), font], ["number", Text(number), font]]


def _isolated_supply():
    font = ["effects", ["font", ["size", 1.27, 1.27]]]
    line = ["stroke", ["width", 0.254], ["type", "default"]]
    hidden = ["effects", ["font", ["size", 1.27, 1.27]], ["hide", "yes"]]
    dashed = ["stroke", ["width", 0.254], ["type", "dash"]]
    body = [
        ["rectangle", ["start", -10.16, 7.62], ["end", 10.16, -7.62], line, ["fill", ["type", "background"]]],
        ["polyline", ["pts", ["xy", 0, 7.62], ["xy", 0, -7.62]], dashed, ["fill", ["type", "none"]]],
    ]
    pins = [
        _pin("power_in", -12.7, 5.08, 0, "+in", "22"),
        _pin("passive", -12.7, 2.54, 0, "+in", "23"),
        _pin("power_in", -12.7, -2.54, 0, "-in", "2"),
        _pin("passive", -12.7, -5.08, 0, "-in", "3"),
        _pin("power_out", 12.7, 5.08, 180, "+out", "14"),
        _pin("power_out", 12.7, -5.08, 180, "-out", "16"),
    ]
    name = "Isolated_Supply"
    return [
        "symbol", Text(name), ["pin_names", ["offset", 1.016]],
        ["exclude_from_sim", "no"], ["in_bom", "yes"], ["on_board", "yes"],
        ["property", Text("Reference"), Text("PS"), ["at", -10.16, 8.89, 0], font],
        ["property", Text("Value"), Text(name), ["at", -10.16, -8.89, 0], font],
        ["property", Text("Footprint"), Text(""), ["at", 0, 0, 0], hidden],
        ["property", Text("Datasheet"), Text(""), ["at", 0, 0, 0], hidden],
        ["property", Text("Description"), Text("Isolated DC-DC converter, reinforced"), ["at", 0, 0, 0], hidden],
        ["symbol", Text(name + "_0_1"), *body],
        ["symbol", Text(name + "_1_1"), *pins],
    ]


KEPT = Path(__file__).resolve().parents[1] / "board" / "slotwise.kicad_sym"


def symbols(anew=False):
    """Every symbol of the project by its name: from the project's own library, or `anew` from the
    installed ones, whose drawings change from version to version."""
    if KEPT.exists() and not anew:
        return {str(s[1]): s for s in find_all(parse(KEPT.read_text(encoding="utf-8")), "symbol")}
    made = {name: _borrow(name, *where) for name, where in BORROWED.items()}
    for name, shape in POWERS.items():
        made[name] = _borrow(name, "power", shape)
    made["Isolated_Supply"] = _isolated_supply()
    return made


def library(made):
    """The library file."""
    return [
        "kicad_symbol_lib", ["version", "20241209"], ["generator", Text("slotwise")],
        ["generator_version", Text("9.0")], *made.values(),
    ]


def pins(symbol, unit):
    """Number, name, position (y up) of the pins of one unit."""
    found = []
    for part in find_all(symbol, "symbol"):
        number = int(part[1].rsplit("_", 2)[1])
        if number not in (0, unit):
            continue
        for pin in find_all(part, "pin"):
            at = find(pin, "at")
            found.append((str(find(pin, "number")[1]), str(find(pin, "name")[1]), float(at[1]), float(at[2])))
    return found
