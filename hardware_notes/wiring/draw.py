"""Draw the diagrams of the build notes: ``python -m hardware_notes.wiring.draw``.  Values come from ``design.builds``."""

from __future__ import annotations

from pathlib import Path

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILD_B, BUILD_D, SUPPLY_DROP_OHM, SUPPLY_LOAD_OHM
from hardware_notes.design.make_notes import engineering
from hardware_notes.wiring.sheet import Sheet

FOLDER = Path(__file__).parent


def build_a() -> str:
    """Steady light: a digital chip on four wires."""
    s = Sheet(900, 380, "Build (a): steady light, four wires")
    board = s.box(470, 90, 190, 170, "board with USB\n(3.3 V logic)", left=("3V3", "GND", "SDA", "SCL"), right=("USB",))
    chip = s.box(160, 90, 170, 170, "light sensor chip\non a carrier board", right=("VIN", "GND", "SDA", "SCL"))
    for one, other in (("VIN", "3V3"), ("GND", "GND"), ("SDA", "SDA"), ("SCL", "SCL")):
        s.wire(chip[one], board[other])
    s.wire(board["USB"], (760, board["USB"][1]))
    s.text(766, board["USB"][1] + 5, "computer")
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


Point = tuple[float, float]


def _front_end(s: Sheet, build: c.Build, x: float, y: float, reference: str) -> tuple[Point, Point]:
    """Photodiode, amplifier, its feedback and the divider; return the output behind its filter and where the switch's control
    goes."""
    amp = s.opamp(x + 250, y + 60, "U2 MCP6022")
    minus, plus, out = amp["-"], amp["+"], amp["out"]
    for at, pin in ((minus, "2"), (plus, "3")):
        s.text(at[0] - 12, at[1] - 4, pin, size=11, anchor="end")
    s.text(out[0] + 4, out[1] - 6, "1", size=11)
    power = "5 V" if build.supply_v > 4 else "3.3 V"
    s.notes(x + 400, y + 190, (f"U2: pin 8 to {power}, pin 4 to ground,", "pin 5 to ground, pin 6 to pin 7"))
    node, right = (x + 150, minus[1]), out[0] + 40
    s.wire((x + 60, minus[1]), minus)
    s.photodiode((x + 60, minus[1]), (x + 60, y + 170), "D1")
    s.ground(x + 60, y + 170)
    s.dot(*node)
    s.dot(right, out[1])
    s.wire(out, (right, out[1]))
    top = y - 190
    s.wire(node, (node[0], top))
    s.wire((right, top), (right, out[1]))
    for level, kind in ((y - 40, "C1"), (y - 110, "R1")):
        s.dot(node[0], level)
        s.dot(right, level)
        if kind == "C1":
            s.capacitor((node[0], level), (right, level), f"C1 {engineering(build.feedback_f, 'F')} C0G")
        else:
            s.resistor((node[0], level), (right, level), f"R1 {engineering(build.dim_ohm, 'Ω')} 1 %")
    control = s.gate_switch((node[0], top), (node[0] + 76, top), "U3, closed: bright")
    s.text(node[0] + 30, top + 18, "4", size=11)
    s.text(node[0] + 62, top + 18, "3", size=11)
    s.text(control[0] - 6, control[1] + 6, "5", size=11, anchor="end")
    s.resistor((node[0] + 76, top), (right, top), f"R2 {engineering(build.bright_ohm, 'Ω')} 1 %")
    low = plus[1] + 120
    s.wire(plus, (x + 190, plus[1]), (x + 190, low - 76))
    s.dot(x + 190, low - 76)
    s.resistor((x + 110, low - 76), (x + 190, low - 76), f"R3 {engineering(build.lift_top_ohm, 'Ω')}")
    s.wire((x + 110, low - 76), (x + 110, low - 56))
    s.text(x + 110, low - 42, reference, anchor="middle", size=12)
    s.resistor((x + 190, low - 76), (x + 190, low), f"R4 {engineering(build.lift_bottom_ohm, 'Ω')}")
    s.ground(x + 190, low)
    s.wire((x + 190, low - 76), (x + 290, low - 76))
    s.capacitor((x + 290, low - 76), (x + 290, low), "C2 100 nF")
    s.ground(x + 290, low)
    end = right + 110
    s.resistor((right, out[1]), (end, out[1]), f"R5 {engineering(build.filter_ohm, 'Ω')}")
    s.dot(end, out[1])
    s.capacitor((end, out[1]), (end, out[1] + 60), f"C3 {engineering(build.filter_f, 'F')}")
    s.ground(end, out[1] + 60)
    return (end, out[1]), control


def _control(s: Sheet, at: Point, pin: Point, lane: float) -> None:
    """The control line: 1 kΩ at the chip that drives it, 10 kΩ to ground at the switch."""
    s.wire(at, (at[0], at[1] - 26), (lane - 150, at[1] - 26), dashed=True)
    s.dot(lane - 190, at[1] - 26)
    s.resistor((lane - 150, at[1] - 26), (lane, at[1] - 26), "R6 1 kΩ")
    s.wire((lane, at[1] - 26), (lane, pin[1]), pin, dashed=True)
    s.resistor((lane - 190, at[1] - 26), (lane - 190, at[1] + 54), "R7 10 kΩ")
    s.ground(lane - 190, at[1] + 54)


def build_b() -> str:
    """Flash and steady light: amplifier with two ranges, ATmega328P, USB serial."""
    s = Sheet(1240, 860, "Build (b): flash and steady light")
    out, control = _front_end(s, BUILD_B, 30, 360, "AVCC")
    left = ("4 PD2", "23 ADC0", "21 AREF", "20 AVCC", "7 VCC", "8, 22 GND")
    right = ("1 RESET", "2 RXD", "3 TXD", "9 XTAL1", "10 XTAL2", "17 MOSI", "18 MISO", "19 SCK")
    chip = s.box(790, 190, 170, 350, "U1\nATmega328P", left=left, right=right)
    s.wire(out, (chip["23 ADC0"][0] - 60, out[1]), (chip["23 ADC0"][0] - 60, chip["23 ADC0"][1]), chip["23 ADC0"])
    _control(s, control, chip["4 PD2"], 700)
    usb = s.box(1090, 150, 120, 190, "USB serial\nmodule, 5 V", left=("DTR", "TXD", "RXD", "GND", "5 V"))
    rx, tx, reset = chip["2 RXD"], chip["3 TXD"], chip["1 RESET"]
    s.wire(rx, (1020, rx[1]), (1020, usb["TXD"][1]), usb["TXD"])
    s.wire(tx, (1040, tx[1]), (1040, usb["RXD"][1]), usb["RXD"])
    s.wire(reset, (1000, reset[1]), (1000, usb["DTR"][1]), (1010, usb["DTR"][1]))
    s.capacitor((1010, usb["DTR"][1]), (1060, usb["DTR"][1]), "")
    s.text(1006, usb["DTR"][1] - 16, "C12 100 nF")
    s.wire((1060, usb["DTR"][1]), usb["DTR"])
    s.wire(usb["5 V"], (1056, usb["5 V"][1]), (1056, 370))
    s.text(1056, 386, "5 V", anchor="middle", size=12)
    s.wire(usb["GND"], (1072, usb["GND"][1]), (1072, 392))
    s.ground(1072, 392)
    s.wire(reset, (1000, reset[1]), (1000, 200))
    s.resistor((1000, 130), (1000, 200), "R10 10 kΩ")
    s.rail(1000, 130, "5 V")
    header = s.box(1090, 420, 120, 190, "ISP lead", left=("1 MISO", "3 SCK", "4 MOSI", "5 RESET", "2 5 V, 6 GND"))
    for i, (pin, other) in enumerate((("17 MOSI", "4 MOSI"), ("18 MISO", "1 MISO"), ("19 SCK", "3 SCK"))):
        s.wire(chip[pin], (1010 + 16 * i, chip[pin][1]), (1010 + 16 * i, header[other][1]), header[other])
    s.text(header["5 RESET"][0] - 4, header["5 RESET"][1] + 4, "pin 1", anchor="end", size=12)
    words = {"21 AREF": "C8 100 nF to ground", "20 AVCC": "R8 from 5 V; R9, C6, C7 to ground",
             "7 VCC": "5 V, C9 100 nF", "8, 22 GND": "ground"}  # fmt: skip
    for pin, text in words.items():
        s.text(chip[pin][0] - 4, chip[pin][1] + 4, text, anchor="end", size=12)
    s.text(984, chip["10 XTAL2"][1] - 8, "X1", size=12)
    s.notes(40, 680, (
        "U3 is a 74HC4066: pin 14 to 5 V, pin 7 to ground, and the controls of its other three switches (6, 12, 13) to "
        "ground; 100 nF (C5) at "
        "pin 14, 100 nF (C4) at U2's pin 8.",
        "Crystal X1 (16 MHz) between pins 9 and 10, each with 22 pF (C10, C11) to ground.  5 V from the USB module, 10 µF "
        "(C13) where it comes in.",
        "PD2 closes range 0 (bright); with its line low, or the chip absent, the range is dim and the amplifier still has its "
        "feedback.",
        f"AVCC, the converter's reference: 5 V through R8 {SUPPLY_DROP_OHM:g} Ω, with R9 {engineering(SUPPLY_LOAD_OHM, 'Ω')}, "
        f"C6 10 µF and C7 100 nF to ground; 3 % below 5 V, so that the "
        "converter is full before the amplifier is.",
        "Line: 250,000 baud, 8N1.  The ISP lead is there only while the chip is programmed.",
        "D1: BPW21R.  Its can is the cathode and so the minus input: wrap it in tape or heat-shrink, it must touch neither "
        "housing nor screen.",
        "Lead from D1 to pin 2 under 2 cm.",
    ))  # fmt: skip
    return s.svg()


def build_d() -> str:
    """The front end of the MicroPython board."""
    s = Sheet(1180, 780, "Build (d): the front end")
    out, control = _front_end(s, BUILD_D, 30, 360, "reference")
    left = ("29 GP22", "31 GP26 (ADC0)", "33 AGND", "35 ADC_VREF", "36 3V3", "3, 38 GND")
    board = s.box(800, 220, 200, 300, "U1\nMicroPython board\n2 × 20 pins", left=left, right=("USB",))
    adc = board["31 GP26 (ADC0)"]
    s.wire(out, (adc[0] - 70, out[1]), (adc[0] - 70, adc[1]), adc)
    _control(s, control, board["29 GP22"], 710)
    for pin, text in (
        ("33 AGND", "ground"),
        ("35 ADC_VREF", "U4, R3"),
        ("36 3V3", "R8 10 Ω, then U2, U3"),
        ("3, 38 GND", "ground"),
    ):
        s.text(board[pin][0] - 4, board[pin][1] + 4, text, anchor="end", size=12)
    s.text(board["USB"][0] + 4, board["USB"][1] + 4, "computer", size=12)
    s.notes(40, 650, (
        "U4: shunt reference of 3.0 V from ADC_VREF to ground; the board's own 200 Ω between 3.3 V and ADC_VREF feeds it.  It "
        "is the converter's full scale.",
        "U3 is a 74HC4066: pin 14 to the amplifier's 3.3 V, pin 7 and the controls of its other three switches (6, 12, 13) to "
        "ground.",
        "The amplifier's 3.3 V: from pin 36 through R8 10 Ω, 10 µF (C6) behind it; 100 nF (C4) at U2's pin 8, 100 nF (C5) at "
        "U3's pin 14.",
        "D1: BPW21R.  Its can is the cathode and so the minus input: wrap it in tape or heat-shrink, it must touch neither "
        "housing nor screen.",
    ))  # fmt: skip
    return s.svg()


DRAWINGS = {"build_a.svg": build_a, "build_b.svg": build_b, "build_d.svg": build_d}


def main() -> None:
    """Write every drawing."""
    from hardware_notes.wiring.bench import DRAWINGS as BENCH
    from hardware_notes.wiring.boards import DRAWINGS as BOARDS

    for name, draw in {**DRAWINGS, **BENCH, **BOARDS}.items():
        (FOLDER / name).write_text(draw(), encoding="utf-8")
        print(f"written: wiring/{name}")


if __name__ == "__main__":
    main()
