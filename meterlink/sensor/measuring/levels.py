"""Steady light, each sample as a level, and a number of them as one measurement; and what a colour sample says.  Pure logic."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite, sqrt
from statistics import fmean, stdev

from meterlink.errors import AnalysisError
from meterlink.photometry import colour
from meterlink.records import Calibration, Colour, Measurement, Steady, Trouble
from meterlink.sensor.measuring.calibrate import CEILING_KEY, ceiling_raw, illuminance_lx, scale_of
from meterlink.words.told import told

CLIPS = told("clips_here")


def level(sample: Steady, sensor_id: str, calibration: Calibration) -> Measurement:
    """Return one steady sample as light.  Its ``u_rel`` is what the converter's steps leave after averaging.

    Raises CalibrationError: the calibration has no such range.
    """
    raw, index, clipped, value = sample.raw, sample.range_index, sample.clipped, sample.illuminance_lx
    low, high = sample.raw_min, sample.raw_max
    modulation, u_rel = None, 0.0
    if raw is None:
        value = illuminance_lx(value or 0.0, 0, calibration)
    else:
        full, dark, _u_scale = scale_of(calibration, index)
        value = (raw - dark) * full
        if CEILING_KEY in calibration.details and raw >= ceiling_raw(calibration, index):
            clipped = True
        if low is not None and high is not None and high + low > 2.0 * dark:
            # With light below dark, by noise, the modulation would mean nothing.
            modulation = (high - low) / (high + low - 2.0 * dark) if low >= dark else None
            if value > 0.0:
                u_rel = (high - low) * full / sqrt(12.0 * max(sample.sample_count, 1)) / value
    usable = isfinite(value)
    return Measurement(
        "steady", sample.at_s, sensor_id, calibration.id, illuminance_lx=max(value, 0.0) if usable else None, u_rel=u_rel,
        range_index=index, clipped=clipped, incomplete=not usable, modulation=modulation, held_off_m=sample.held_off_m,
        note=CLIPS if clipped else "" if usable else told("no_number"), trouble=None if usable else Trouble.UNREADABLE,
    )  # fmt: skip


def mean_level(levels: Sequence[Measurement]) -> Measurement:
    """Return one measurement from the levels of about a second: their mean, and its uncertainty from their spread.

    Raises AnalysisError: no level that counts.
    """
    counted = [m for m in levels if m.illuminance_lx is not None and not m.clipped]
    if not counted:
        if levels:
            return levels[-1]
        raise AnalysisError("no steady light came from the sensor: check that it is connected and switched on")
    values = [m.illuminance_lx or 0.0 for m in counted]
    mean = fmean(values)
    spread = stdev(values) / mean if len(values) > 1 and mean > 0.0 else 0.0
    own = max(m.u_rel for m in counted)
    modulations = [m.modulation for m in levels if m.modulation is not None]
    return counted[-1]._replace(
        illuminance_lx=mean,
        u_rel=max(spread, own) / sqrt(len(values)),
        modulation=max(modulations, default=None),
        clipped=any(m.clipped for m in levels),
    )


Tint = tuple[float | None, float | None, float | None, float | None]
"""x, y, CCT in K, Duv."""


def chromaticity_of(colour: Colour, calibration: Calibration | None) -> Tint:
    """Return (x, y, cct_k, duv); raw channels need the matrix of the calibration (three rows, row by row, to XYZ)."""
    x, y = colour.x, colour.y
    if x is None and colour.channels and calibration is not None:
        x, y = _by_matrix(colour.channels, calibration.colour_matrix)
    cct_k, duv = colour.cct_k, colour.duv
    if cct_k is None and x is not None and y is not None:
        cct_k, duv = _cct(x, y)
    return x, y, cct_k, duv


def _by_matrix(channels: tuple[float, ...], matrix: tuple[float, ...]) -> tuple[float | None, float | None]:
    n = len(channels)
    if len(matrix) != 3 * n:
        return None, None
    xyz = [sum(m * c for m, c in zip(matrix[row * n : (row + 1) * n], channels, strict=True)) for row in range(3)]
    total = sum(xyz)
    if not total > 0.0 or min(xyz[:2]) <= 0.0:
        return None, None
    return xyz[0] / total, xyz[1] / total


def _cct(x: float, y: float) -> tuple[float | None, float | None]:
    try:
        cct_k, duv = colour.cct(x, y)
    except ValueError:
        # Outside the diagram, or too far from white for a colour temperature to mean anything.
        return None, None
    return float(cct_k), float(duv)
