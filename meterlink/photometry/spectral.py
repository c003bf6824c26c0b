"""Spectral error of a light sensor: how far its responsivity is from the eye's, and what that does under other lamps.

A sensor calibrated under one lamp reads another lamp wrong when its responsivity is not V(λ).  The factor that puts it
right is the spectral mismatch correction factor F* (CIE S 017, term 17-25-115); the general index f1′ is that of
ISO/CIE 19476 (definition from memory and as code in published packages).  Sums over the wavelengths given.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
GRID_NM: Array = np.arange(380.0, 781.0, 5.0)
"""The wavelengths of every spectrum here."""
V_LAMBDA: Array = np.array([
    3.9e-05, 6.4e-05, 0.00012, 0.000217, 0.000396, 0.00064, 0.00121, 0.00218, 0.004,
    0.0073, 0.0116, 0.01684, 0.023, 0.0298, 0.038, 0.048, 0.06, 0.0739,
    0.09098, 0.1126, 0.13902, 0.1693, 0.20802, 0.2586, 0.323, 0.4073, 0.503,
    0.6082, 0.71, 0.7932, 0.862, 0.9148501, 0.954, 0.9803, 0.9949501, 1.0,
    0.995, 0.9786, 0.952, 0.9154, 0.87, 0.8163, 0.757, 0.6949, 0.631,
    0.5668, 0.503, 0.4412, 0.381, 0.321, 0.265, 0.217, 0.175, 0.1382,
    0.107, 0.0816, 0.061, 0.04458, 0.032, 0.0232, 0.017, 0.01192, 0.00821,
    0.005723, 0.004102, 0.002929, 0.002091, 0.001484, 0.001047, 0.00074, 0.00052, 0.0003611,
    0.0002492, 0.0001719, 0.00012, 8.48e-05, 6e-05, 4.24e-05, 3e-05, 2.12e-05, 1.499e-05,
])  # fmt: skip
"""CIE 1924 V(λ), as CIE tabulates it (ISO/CIE 23539)."""
ILLUMINANT_A: Array = 100 * (560 / GRID_NM) ** 5 * np.expm1(1.435e7 / (2848 * 560)) / np.expm1(1.435e7 / (2848 * GRID_NM))
"""CIE standard illuminant A (tungsten at 2856 K), 100 at 560 nm, by its defining formula (CIE 15)."""


def on_grid(wavelength_nm: Array, values: Array) -> Array:
    """Interpolate a spectrum onto ``GRID_NM``; 0 where it has no values.

    Raises ValueError: wavelengths that do not rise, negative or non-finite values, or a spectrum that does not reach into the grid.
    """
    if not (np.isfinite(wavelength_nm).all() and np.isfinite(values).all() and (np.diff(wavelength_nm) > 0).all()):
        raise ValueError("wavelengths must rise and every value must be a finite number")
    if (values < 0).any():
        raise ValueError("a spectrum has no negative values")
    out: Array = np.interp(GRID_NM, wavelength_nm, values, left=0.0, right=0.0)
    if not (out > 0).any():
        raise ValueError(f"the spectrum has nothing between {GRID_NM[0]:g} and {GRID_NM[-1]:g} nm")
    return out


def mismatch_factor(responsivity: Array, lamp: Array, calibration_lamp: Array = ILLUMINANT_A) -> float:
    """Return F*: what a reading under ``lamp`` is to be multiplied by when calibrated under ``calibration_lamp``.

    ``responsivity``: relative, of the whole sensor (diode, filter, dome); both lamps: relative spectral power.

    Raises ValueError: a spectrum that the sensor or the eye does not see.
    """
    seen, seen_reference = float(np.sum(lamp * responsivity)), float(np.sum(calibration_lamp * responsivity))
    eye, eye_reference = float(np.sum(lamp * V_LAMBDA)), float(np.sum(calibration_lamp * V_LAMBDA))
    if min(seen, seen_reference, eye, eye_reference) <= 0:
        raise ValueError("sensor and eye must both see some of the lamp")
    return (eye / seen) * (seen_reference / eye_reference)


def error_stops(factor: float) -> float:
    """Return by how many stops the sensor reads too bright (positive) when F* is ``factor``."""
    return -math.log2(factor)


def f1_prime(responsivity: Array) -> float:
    """Return the general V(λ) mismatch index f1′ (0 is perfect; 0.03 is a good laboratory head, 0.1 a fair hobby one).

    f1′ = sum of abs(s* - V) / sum of V, with s* = s scaled to agree with V under illuminant A.  Raises ValueError: the sensor sees
    nothing of illuminant A.
    """
    seen = float(np.sum(ILLUMINANT_A * responsivity))
    if seen <= 0:
        raise ValueError("the sensor sees nothing of illuminant A on this grid")
    scaled = responsivity * float(np.sum(ILLUMINANT_A * V_LAMBDA)) / seen
    return float(np.sum(np.abs(scaled - V_LAMBDA)) / np.sum(V_LAMBDA))
