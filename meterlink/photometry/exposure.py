"""The exposure equation for steady and flash light.

::

    steady light    N**2 / t = E * S / C
    flash           N**2     = H * S / C
    both            N**2     = (H + E * t) * S / C

N is the f-number, t the exposure time in s, E the illuminance in lx, H the luminous exposure in lx·s above ambient,
S the ISO speed (exact value, see ``series``), C the calibration constant of the receptor in lx (ISO 2720).  C is always
an argument: it belongs to the sensor's calibration and no formula has a silent default for it.

Stops are log2 of a ratio of exposures; positive means more light.
All functions raise ``ValueError`` for arguments that are not finite or outside the stated range.
"""

from __future__ import annotations

import math

CONSTANT_START_LX = {"flat": 250.0, "dome": 330.0}
"""What a new calibration of a receptor starts with (ISO 2720:1974, by secondary sources: flat 240 to 400, dome 320 to 540, in
practice 320 to 340); no formula uses it."""


def finite(value: float, name: str) -> float:
    """Return a number if it is finite, else raise ValueError naming it."""
    if not math.isfinite(value):
        raise ValueError(f"{name} must be a finite number, got {value!r}")
    return value


def positive(value: float, name: str) -> float:
    """Return a number if it is finite and above 0, else raise ValueError naming it."""
    if not 0.0 < value < math.inf:
        raise ValueError(f"{name} must be a positive finite number, got {value!r}")
    return value


def stops_between(a: float, b: float) -> float:
    """Return log2(a / b): by how many stops ``a`` exceeds ``b``, both exposures, illuminances or speeds, positive."""
    return math.log2(positive(a, "a")) - math.log2(positive(b, "b"))


def f_number(exposure_lxs: float, iso: float, calibration_constant: float) -> float:
    """Return the f-number for a flash of luminous exposure H: sqrt(H * S / C)."""
    h = positive(exposure_lxs, "exposure_lxs")
    return math.sqrt(h * positive(iso, "iso") / positive(calibration_constant, "calibration_constant"))


def luminous_exposure(f_number: float, iso: float, calibration_constant: float) -> float:
    """Return the luminous exposure in lx·s that asks for this f-number: N**2 * C / S."""
    n = positive(f_number, "f_number")
    return n * n * positive(calibration_constant, "calibration_constant") / positive(iso, "iso")


def exposure_value(illuminance_lx: float, iso: float, calibration_constant: float) -> float:
    """Return the exposure value at this ISO, log2(E * S / C); with C = 250 lx and ISO 100, 2.5 lx are EV 0."""
    e = positive(illuminance_lx, "illuminance_lx")
    return math.log2(e * positive(iso, "iso") / positive(calibration_constant, "calibration_constant"))


def illuminance(f_number: float, time_s: float, iso: float, calibration_constant: float) -> float:
    """Return the steady illuminance in lx for which f-number and time are right: N**2 * C / (t * S)."""
    return luminous_exposure(f_number, iso, calibration_constant) / positive(time_s, "time_s")


def f_number_steady(illuminance_lx: float, time_s: float, iso: float, calibration_constant: float) -> float:
    """Return the f-number for steady light and an exposure time: sqrt(E * t * S / C)."""
    exposure_lxs = positive(illuminance_lx, "illuminance_lx") * positive(time_s, "time_s")
    return f_number(exposure_lxs, iso, calibration_constant)


def filter_stops(factor: float) -> float:
    """Return the stops that a filter of this factor (1 or more: 2, 4, 8) takes away: log2(factor)."""
    if not 1.0 <= factor < math.inf:
        raise ValueError(f"a filter factor is 1 or more, got {factor!r}")
    return math.log2(factor)


def stops_of_highlight_to_shadow(ratio: float) -> float:
    """Return by how many stops the key exceeds the fill for a (key + fill) : fill ratio above 1."""
    if not 1.0 < ratio < math.inf:
        raise ValueError(f"(key + fill) : fill is above 1, got {ratio!r}")
    return math.log2(ratio - 1.0)
