"""The parts of builds (b) and (d), with where each figure comes from.

Photodiode: leaded silicon with a built-in filter for the eye's response, typical figures of the makers' data sheets:
BPW21R (Vishay, document 81519, rev. 1.7): 9 µA at 1 klx, half response at 420 and 675 nm, ±50°, 7.5 mm²;
BPW 21 (Osram, v1.3): 10 nA/lx, 580 pF at no bias, 8 pA dark at 10 mV, 1.5 µs.
Amplifier: MCP6022 (Microchip): 10 MHz, 8.7 nV/√Hz, rail to rail, 2.5 to 5.5 V, 500 µV offset at most.
Input capacitance of the amplifier, headroom at light load, resistance of the switch: from memory.
Resistors are of the E24 series, so that an assortment of 1 % has them all.
"""

from __future__ import annotations

from hardware_notes.design.circuit import Build

DOME_TRANSMISSION = 0.325
"""White opal dome of 2 mm acrylic, light at the diode below per light on the dome: ours to be measured, see receptors.md."""
GEL_TRANSMISSION = 0.1256
"""Neutral-density gel of 0.9 (three stops; nominal 10^-0.9 = 0.1259)."""
SUPPLY_DROP_OHM = 33.0
SUPPLY_LOAD_OHM = 1e3
"""Build (b): AVCC, the converter's reference, comes through 33 Ω and carries 1 kΩ, so that it stands 3 % below the
amplifier's supply: the converter is full before the amplifier is, and clipping is always seen."""
AVCC_CURRENT_A = 0.3e-3
"""What the converter and its port draw from AVCC; from memory."""

_COMMON = {
    "responsivity_a_lx": 9e-9,
    "transmission": DOME_TRANSMISSION * GEL_TRANSMISSION,
    "diode_f": 580e-12,
    "amplifier_input_f": 9e-12,
    "gain_bandwidth_hz": 10e6,
    "amplifier_noise_v_rthz": 8.7e-9,
    "headroom_v": 0.02,
    "filter_ohm": 1e3,
    "filter_f": 1e-9,
    "lift_top_ohm": 100e3,
    "lift_bottom_ohm": 2e3,
    "constant_lx": 330.0,
}

BUILD_B = Build(
    name="b",
    supply_v=5.0,
    reference_v=(5.0 - SUPPLY_DROP_OHM * AVCC_CURRENT_A) * SUPPLY_LOAD_OHM / (SUPPLY_DROP_OHM + SUPPLY_LOAD_OHM),
    dim_ohm=68e3,
    bright_ohm=7.5e3,
    switch_ohm=50.0,
    feedback_f=150e-12,
    interval_s=13e-6,
    ring_s=0.020,
    steady_bits=10,
    flash_bits=8,
    **_COMMON,
)
BUILD_D = Build(
    name="d",
    supply_v=3.3,
    reference_v=3.0,
    dim_ohm=39e3,
    bright_ohm=4.3e3,
    switch_ohm=100.0,
    feedback_f=180e-12,
    interval_s=4e-6,
    ring_s=0.020,
    steady_bits=12,
    flash_bits=9,  # effective ones: that converter's own errors leave 8.7 of its 12 (its data sheet, from memory)
    **_COMMON,
)
"""The front end of the MicroPython board: its converter reads against a shunt reference of 3.0 V."""
BUILDS = (BUILD_B, BUILD_D)
FLASH_T01_S = (1 / 300, 1 / 1000, 1 / 3000, 1 / 6000)
