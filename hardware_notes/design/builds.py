"""The parts of builds (b) and (c), with where each figure comes from.

Photodiode: leaded silicon with a built-in filter for the eye's response, typical figures of the maker's data sheets:
BPW21R (Vishay, document 81519, rev. 1.7): 9 µA at 1 klx, half response at 420 and 675 nm, ±50°, 7.5 mm²;
BPW 21 (Osram, v1.3): 10 nA/lx, 580 pF at no bias, 8 pA dark at 10 mV, 1.5 µs.
Amplifier: MCP6022 (Microchip): 10 MHz, 8.7 nV/√Hz, rail to rail, 2.5 to 5.5 V, 500 µV offset at most.
Input capacitance of the amplifier and headroom at light load: from memory.
"""

from __future__ import annotations

from hardware_notes.design.circuit import Amplifier, Build

DOME_TRANSMISSION = 0.325
"""White opal dome of 2 mm acrylic, light at the diode below per light on the dome: ours to be measured, see receptors.md."""
GEL_TRANSMISSION = 0.1256
"""Neutral-density gel of 0.9 (three stops; nominal 10^-0.9 = 0.1259)."""

_COMMON = {
    "responsivity_a_lx": 9e-9,
    "transmission": DOME_TRANSMISSION * GEL_TRANSMISSION,
    "diode_f": 580e-12,
    "amplifier_input_f": 9e-12,
    "gain_bandwidth_hz": 10e6,
    "amplifier_noise_v_rthz": 8.7e-9,
    "headroom_v": 0.02,
    "interval_s": 13e-6,
    "ring_s": 0.020,
    "constant_lx": 330.0,
    "steady_bits": 10,
    "flash_bits": 8,
}

BUILD_B = Build(
    name="b",
    reference_v=5.0,
    supply_v=5.0,
    lift_v=0.100,
    ranges=(Amplifier("bright", 6.81e3, 1.0e-9), Amplifier("dim", 68.1e3, 100e-12)),
    **_COMMON,
)
BUILD_C = Build(
    name="c",
    reference_v=3.0,
    supply_v=3.3,
    lift_v=0.060,
    ranges=(Amplifier("bright", 4.12e3, 1.6e-9), Amplifier("dim", 41.2e3, 160e-12)),
    **_COMMON,
)
BUILD_B_INTERNAL = BUILD_B._replace(
    name="b, internal reference",
    reference_v=1.1,
    lift_v=0.022,
    ranges=(Amplifier("bright", 1.5e3, 4.7e-9), Amplifier("dim", 15e3, 470e-12)),
)
"""The chip's own 1.1 V reference: its range is right, its noise is not; kept to show why the notes use 5 V."""
BUILDS = (BUILD_B, BUILD_C, BUILD_B_INTERNAL)
FLASH_T01_S = (1 / 300, 1 / 1000, 1 / 3000, 1 / 6000)
