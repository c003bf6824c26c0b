"""The breadboards of builds (b) and (d): which part stands in which hole."""

from __future__ import annotations

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILD_B, BUILD_D, SUPPLY_DROP_OHM, SUPPLY_LOAD_OHM
from hardware_notes.design.make_notes import engineering
from hardware_notes.wiring.breadboard import PITCH, Chip, Layout, Lead, Part, Wire, place, svg

__all__ = ["DRAWINGS", "PITCH", "Layout", "board_b", "board_d", "place"]

SWITCH = ("1Y", "1Z", "2Z", "2Y", "2E", "3E", "GND", "3Y", "3Z", "4Z", "4Y", "4E", "1E", "VCC")
AMPLIFIER = ("OUT A", "IN A-", "IN A+", "VSS", "IN B+", "IN B-", "OUT B", "VDD")
ATMEGA = (
    "RESET", "RXD", "TXD", "PD2", "PD3", "PD4", "VCC", "GND", "XTAL1", "XTAL2", "PD5", "PD6", "PD7", "PB0",
    "PB1", "PB2", "MOSI", "MISO", "SCK", "AVCC", "AREF", "GND", "ADC0", "PC1", "PC2", "PC3", "PC4", "PC5",
)  # fmt: skip
RAILS = "T and B: the rails at the top and at the bottom, any hole near by; where they are broken in the middle, bridge them."


def _ohm(value: float) -> str:
    return f"{engineering(value, 'Ω')} 1 %"


def _front_end(build: c.Build) -> tuple[tuple[Chip, ...], tuple[Part, ...], tuple[Wire, ...]]:
    """Switch in rows 2 to 8, amplifier in rows 11 to 14; its output leaves by R5 to row 18, the divider's top is row 15, the
    switch's
    control comes to row 21 and through R6 to row 25."""
    power = "5V" if build.supply_v > 4 else "3V3"
    chips = (Chip("U3", "74HC4066", 2, SWITCH), Chip("U2", "MCP6022", 11, AMPLIFIER))
    parts = (
        Part("D1", "photodiode, can (cathode) in a12", "diode", "a12", "B-12"),
        Part("R1", _ohm(build.dim_ohm), "resistor", "c11", "c12"),
        Part("R2", _ohm(build.bright_ohm), "resistor", "a4", "a11"),
        Part("C1", f"{engineering(build.feedback_f, 'F')} C0G", "capacitor", "d11", "d12"),
        Part("R3", _ohm(build.lift_top_ohm), "resistor", "a13", "a15"),
        Part("R4", _ohm(build.lift_bottom_ohm), "resistor", "b13", "B-13"),
        Part("C2", "100 nF", "capacitor", "c13", "c14"),
        Part("R5", _ohm(build.filter_ohm), "resistor", "b11", "b18"),
        Part("R6", "1 kΩ", "resistor", "c21", "c25"),
        Part("R7", "10 kΩ", "resistor", "a21", "B-21"),
        Part("C4", "100 nF", "capacitor", "j11", "T-11"),
        Part("C5", "100 nF", "capacitor", "j2", "T-3"),
    )
    wires = (
        Wire("b5", "b12"),
        Wire("a14", "B-15", "GND"),
        Wire("g14", "T-14", "GND"),
        Wire("g12", "g13"),
        Wire("d6", "e21"),
        Wire("e18", "f18"),
        Wire("b8", "B-8", "GND"),
        Wire("c7", "c8", "GND"),
        Wire("g4", "T-4", "GND"),
        Wire("h3", "h4", "GND"),
        *((Wire("h2", "T+2", power), Wire("h11", "T+11", power)) if build.name == "b" else ()),
    )
    return chips, parts, wires


def board_b() -> Layout:
    """Build (b): the whole sensor."""
    chips, parts, wires = _front_end(BUILD_B)
    parts += (
        Part("C3", f"{engineering(BUILD_B.filter_f, 'F')} C0G", "capacitor", "j27", "T-27"),
        Part("R8", f"{SUPPLY_DROP_OHM:g} Ω", "resistor", "j38", "T+38"),
        Part("R9", _ohm(SUPPLY_LOAD_OHM), "resistor", "i38", "T-39"),
        Part("C6", "10 µF, + in g38", "capacitor", "g38", "T-40"),
        Part("C7", "100 nF", "capacitor", "g30", "T-30"),
        Part("C8", "100 nF", "capacitor", "g29", "T-29"),
        Part("C9", "100 nF", "capacitor", "c28", "c29"),
        Part("X1", "16 MHz", "crystal", "b30", "b31"),
        Part("C10", "22 pF", "capacitor", "a30", "B-30"),
        Part("C11", "22 pF", "capacitor", "a31", "B-31"),
        Part("R10", "10 kΩ", "resistor", "d19", "d22"),
        Part("C12", "100 nF", "capacitor", "b20", "b22"),
        Part("C13", "10 µF, + in B+58", "capacitor", "B+58", "B-58"),
    )
    wires += (
        Wire("g18", "g27"),
        Wire("i30", "i16"),
        Wire("f16", "e15"),
        Wire("a19", "B+19", "5V"),
        Wire("h30", "h38"),
        Wire("g28", "T-28", "GND"),
        Wire("a29", "B-29", "GND"),
        Wire("a28", "B+28", "5V"),
        Wire("B+62", "T+62", "5V"),
        Wire("B-63", "T-63", "GND"),
    )
    leads = (
        Lead("USB module: 5 V", "B+60"),
        Lead("USB module: GND", "B-59"),
        Lead("USB module: TXD", "a23"),
        Lead("USB module: RXD", "a24"),
        Lead("USB module: DTR", "a20"),
        Lead("ISP 5: RESET", "a22"),
        Lead("ISP 4: MOSI", "j33"),
        Lead("ISP 1: MISO", "j32"),
        Lead("ISP 3: SCK", "j31"),
        Lead("ISP 2: 5 V", "T+60"),
        Lead("ISP 6: GND", "T-59"),
    )
    return Layout(
        "Build (b): breadboard, to scale",
        (*chips, Chip("U1", "ATmega328P", 22, ATMEGA)),
        parts,
        wires,
        leads,
        (
            "Chips lie with their notch to the left. R1 and C1 stand upright, as close to the amplifier as they go; D1 as "
            "short as its legs allow, its can wrapped in tape.",
            "ISP: six single leads; a header of 2 × 3 pins cannot stand in a breadboard, its two rows would be joined. They "
            "leave when the chip is programmed.",
            f"{RAILS} T+ and B+ carry 5 V, T– and B– are ground.",
        ),
    )


PICO = tuple(str(i) for i in range(1, 41))


def board_d() -> Layout:
    """Build (d): the front end beside a MicroPython board of 2 × 20 pins."""
    chips, parts, wires = _front_end(BUILD_D)
    parts += (
        Part("C3", f"{engineering(BUILD_D.filter_f, 'F')} C0G", "capacitor", "i39", "T-39"),
        Part("U4", "3.0 V reference, cathode in j22", "diode", "j22", "T-23"),
        Part("R8", "10 Ω", "resistor", "h20", "h16"),
        Part("C6", "10 µF, + in j16", "capacitor", "j16", "T-17"),
    )
    wires += (
        Wire("j18", "j39"),
        Wire("i35", "i22"),
        Wire("g22", "g17"),
        Wire("f17", "e15"),
        Wire("i34", "i20", "3V3"),
        Wire("i16", "T+16", "3V3"),
        Wire("h2", "T+2", "3V3"),
        Wire("h11", "T+11", "3V3"),
        Wire("e25", "f25"),
        Wire("h25", "i41"),
        Wire("i37", "T-37", "GND"),
        Wire("b32", "B-32", "GND"),
        Wire("B-63", "T-63", "GND"),
    )
    return Layout(
        "Build (d): front end and board, to scale",
        (*chips, Chip("U1", "MicroPython board", 30, PICO, "c", "h")),
        parts,
        wires,
        (),
        (
            "USB looks to the left. Pins of the board: 29 = GP22 (bright), 31 = GP26 (converter 0), 33 = analogue ground, 35 "
            "= reference of the converter, 36 = 3.3 V out, 3 = ground.",
            "R1 and C1 stand upright, as close to the amplifier as they go; D1 as short as its legs allow, its can wrapped in "
            "tape.",
            f"{RAILS} T+ carries the amplifier's 3.3 V, T– and B– are ground, B+ is not used.",
        ),
    )


DRAWINGS = {"breadboard_b.svg": lambda: svg(board_b()), "breadboard_d.svg": lambda: svg(board_d())}
