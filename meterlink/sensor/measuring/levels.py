"""Steady light: each sample as a level, and a number of them as one measurement.  Pure logic."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite, sqrt
from statistics import fmean, stdev

from meterlink.errors import AnalysisError
from meterlink.records import Calibration, Measurement, Steady, Trouble
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
