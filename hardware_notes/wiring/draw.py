"""Draw the diagrams of the build notes: ``python -m hardware_notes.wiring.draw``.  Values come from ``design.builds``."""

from __future__ import annotations

from pathlib import Path

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILD_B, BUILD_C
from hardware_notes.design.make_notes import engineering
from hardware_notes.wiring.sheet import Sheet

FOLDER = Path(__file__).parent
LIFT_TOP_OHM = {"b": 100e3, "c": 100e3}


def lift_bottom_ohm(build: c.Build) -> float:
    """Lower resistor of the divider that lifts the zero, from the E24 series."""
    wanted = LIFT_TOP_OHM[build.name] * build.lift_v / (build.supply_v - build.lift_v)
    e24 = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1)
    return min((100 * 10**k * e for e in e24 for k in range(3)), key=lambda r: abs(r - wanted))


def build_a() -> str:
    """Steady light: a digital chip on four wires."""
    s = Sheet(900, 380, "Build (a): steady light, four wires")
    board = s.box(470, 90, 190, 170, "board with USB\n(3.3 V logic)", left=("3V3", "GND", "SDA", "SCL"), right=("USB",))
    chip = s.box(160, 90, 170, 170, "light sensor chip\non a carrier board", right=("VIN", "GND", "SDA", "SCL"))
    for one, other in (("VIN", "3V3"), ("GND", "GND"), ("SDA", "SDA"), ("SCL", "SCL")):
        s.wire(chip[one], board[other])
    s.wire(board["USB"], (760, board["USB"][1]))
    s.text(766, board["USB"][1] + 5, "computer or phone")
    s.path("M96 232a40 40 0 0 1 0 -80", fill="#f3f5f7")
    s.path("M96 140v104", width=2.4)
    s.text(20, 128, "white dome over")
    s.text(20, 264, "the chip's window")
    s.wire((96, 192), (160, 192), dashed=True)
    s.notes(20, 310, (
        "Wires shorter than 20 cm. The carrier board brings its own pull-ups and regulator.",
        "The board prints one line a reading, such as: 512.3 lx",
    ))  # fmt: skip
    return s.svg()


def _front_end(s: Sheet, build: c.Build, x: float, y: float) -> tuple[tuple[float, float], list[tuple[float, float]]]:
    """Photodiode, amplifier and both feedbacks; return the output and where the two switches' pins go."""
    amp = s.opamp(x + 250, y + 60, "MCP6022")
    minus, plus, out = amp["-"], amp["+"], amp["out"]
    node = (x + 150, minus[1])
    s.wire((x + 60, minus[1]), minus)
    s.photodiode((x + 60, minus[1]), (x + 60, y + 170), "BPW21R")
    s.ground(x + 60, y + 170)
    s.dot(*node)
    right = out[0] + 60
    s.wire(out, (right, out[1]))
    s.dot(right, out[1])
    controls = []
    for i, a in enumerate(build.ranges):
        level = y - 70 - 130 * (1 - i)
        s.wire(node, (node[0], level))
        if i == 1:
            s.dot(node[0], level)
        controls.append(s.gate_switch((node[0], level), (node[0] + 76, level), f"closed for {a.name}"))
        left_x = node[0] + 76
        s.dot(left_x, level)
        s.dot(right, level)
        s.resistor((left_x, level), (right, level), f"{engineering(a.r_ohm, 'Ω')} 1 %")
        s.wire((left_x, level), (left_x, level + 46))
        s.capacitor((left_x, level + 46), (right, level + 46), f"{engineering(a.c_farad, 'F')} C0G")
        s.wire((right, level + 46), (right, level))
    s.wire((right, y - 200), (right, out[1]))
    low = plus[1] + 120
    s.wire(plus, (x + 190, plus[1]), (x + 190, low - 76))
    s.dot(x + 190, low - 76)
    s.resistor((x + 110, low - 76), (x + 190, low - 76), engineering(LIFT_TOP_OHM[build.name], "Ω"))
    s.rail(x + 110, low - 76, f"{build.supply_v:g} V", "end")
    s.resistor((x + 190, low - 76), (x + 190, low), engineering(lift_bottom_ohm(build), "Ω"))
    s.ground(x + 190, low)
    s.wire((x + 190, low - 76), (x + 280, low - 76))
    s.capacitor((x + 280, low - 76), (x + 280, low), "100 nF")
    s.ground(x + 280, low)
    return (right, out[1]), controls


def _control_lines(s: Sheet, controls: list[tuple[float, float]], pins: list[tuple[float, float]], lanes: list[float]) -> None:
    for (cx, cy), (px, py), lane in zip(controls, pins, lanes, strict=True):
        s.wire((cx, cy), (lane, cy), (lane, py), (px, py), dashed=True)


def build_b() -> str:
    """Flash and steady light: amplifier with two ranges, ATmega328P, USB serial."""
    s = Sheet(1180, 740, "Build (b): flash and steady light")
    out, controls = _front_end(s, BUILD_B, 30, 330)
    left = ("PD2", "PD3", "ADC0 (PC0)", "AREF", "AVCC", "VCC", "GND")
    chip = s.box(690, 120, 190, 360, "ATmega328P\n16 MHz crystal, 5 V", left=left, right=("PD1 (TXD)", "PD0 (RXD)", "RESET"))
    usb = s.box(1000, 330, 120, 150, "USB serial\nmodule, 5 V", left=("RXD", "TXD", "DTR"), right=("GND",))
    lane = out[0] + 40
    s.wire(out, (lane, out[1]), (lane, chip["ADC0 (PC0)"][1]), chip["ADC0 (PC0)"])
    _control_lines(s, controls, [chip["PD2"], chip["PD3"]], [655, 640])
    s.wire(chip["PD1 (TXD)"], (930, chip["PD1 (TXD)"][1]), (930, usb["RXD"][1]), usb["RXD"])
    s.wire(chip["PD0 (RXD)"], (945, chip["PD0 (RXD)"][1]), (945, usb["TXD"][1]), usb["TXD"])
    s.capacitor(chip["RESET"], usb["DTR"], "")
    s.text(940, usb["DTR"][1] + 32, "100 nF", anchor="middle")
    s.wire(usb["GND"], (1150, usb["GND"][1]), (1150, 500))
    s.ground(1150, 500)
    s.wire(chip["AREF"], (560, chip["AREF"][1]), (560, chip["AREF"][1] + 20))
    s.capacitor((560, chip["AREF"][1] + 20), (560, chip["AREF"][1] + 90), "100 nF")
    s.ground(560, chip["AREF"][1] + 90)
    s.wire(chip["GND"], (660, chip["GND"][1]), (660, 500))
    s.ground(660, 500)
    for pin, words in (("AVCC", "5 V, filtered"), ("VCC", "5 V")):
        s.text(chip[pin][0] - 4, chip[pin][1] + 4, words, anchor="end", size=12)
    s.notes(40, 600, (
        "Switches: two of the four in a 74HC4066, on the minus side, where their resistance meets no voltage swing; tie "
        "the control pins of the unused two to ground.",
        "PD2 closes range 0 (bright), PD3 closes range 1 (dim).  10 kΩ from each to ground keeps both open while the chip starts.",
        "AVCC: 5 V through 10 µH (or 10 Ω) with 100 nF to ground at the pin.  VCC: 100 nF at the pin.  Amplifier: 100 nF at its "
        "supply pins; its unused half as a follower of ground.",
        "Crystal: 16 MHz with two 22 pF to ground.  RESET: 10 kΩ to 5 V.  Line: 250,000 baud, 8N1.",
        "Photodiode: the cathode is its case; keep the lead to the minus input under 2 cm and ring it with ground.",
    ))  # fmt: skip
    return s.svg()


def build_c() -> str:
    """The same front end on a Bluetooth LE board."""
    s = Sheet(1180, 740, "Build (c): the same over Bluetooth LE")
    out, controls = _front_end(s, BUILD_C, 30, 330)
    left = ("P0.28", "P0.29", "P0.02 (AIN0)", "3V3", "GND")
    right = ("USB (charging)", "BAT +", "BAT –")
    board = s.box(690, 190, 220, 290, "nRF52840 board\n3.3 V, charger on board", left=left, right=right)
    lane = out[0] + 40
    s.wire(out, (lane, out[1]), (lane, board["P0.02 (AIN0)"][1]), board["P0.02 (AIN0)"])
    _control_lines(s, controls, [board["P0.28"], board["P0.29"]], [655, 640])
    s.wire(board["GND"], (660, board["GND"][1]), (660, 500))
    s.ground(660, 500)
    s.text(board["3V3"][0] - 4, board["3V3"][1] + 4, "to the front end", anchor="end", size=12)
    cell = s.box(1010, 370, 140, 110, "lithium cell\nwith protection", left=("+", "–"))
    s.wire(board["BAT +"], cell["+"])
    s.wire(board["BAT –"], cell["–"])
    s.notes(40, 600, (
        "Switches: two of a 74HC4066 at 3.3 V; unused controls to ground.  P0.28 closes bright, P0.29 closes dim; "
            "10 kΩ from each to ground.",
        "Amplifier from 3V3 with 100 nF at its pins.  Converter: internal 0.6 V reference, gain 1/5: full scale is 3.0 V, and the "
        "amplifier still has 0.3 V above it.",
        "Pin numbers are the chip's; look them up on your board.",
        "Lithium: only a cell with its own protection, only the board's charger, never unattended, nothing sharp near it.",
    ))  # fmt: skip
    return s.svg()


DRAWINGS = {"build_a.svg": build_a, "build_b.svg": build_b, "build_c.svg": build_c}


def main() -> None:
    """Write every drawing."""
    from hardware_notes.wiring.bench import DRAWINGS as BENCH

    for name, draw in {**DRAWINGS, **BENCH}.items():
        (FOLDER / name).write_text(draw(), encoding="utf-8")
        print(f"written: wiring/{name}")


if __name__ == "__main__":
    main()
