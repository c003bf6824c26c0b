"""Steady light: each sample as a level, and a number of them as one measurement.  Pure logic."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlink.errors import AnalysisError
from meterlink.model import Calibration, Measurement, Steady
from meterlink.sensing.calibrate import illuminance_lx, scale_of


def level(sample: Steady, sensor_id: str, calibration: Calibration) -> Measurement:
    """Return one steady sample as light.  Its ``u_rel`` is what the converter's steps leave after averaging.

    Raises:
        CalibrationError: the calibration has no such range.
    """
    modulation, u_rel = None, 0.0
    if sample.raw is None:
        value = illuminance_lx(sample.illuminance_lx or 0.0, 0, calibration)
    else:
        dark, full = scale_of(calibration, sample.range_index)[1::-1]
        value = (sample.raw - dark) * full
        low, high = sample.raw_min, sample.raw_max
        if low is not None and high is not None and high + low > 2.0 * dark:
            # With light below dark, by noise, the modulation would mean nothing.
            modulation = (high - low) / (high + low - 2.0 * dark) if low >= dark else None
            if value > 0.0:
                u_rel = (high - low) * full / math.sqrt(12.0 * max(1, sample.sample_count)) / value
    usable = math.isfinite(value)
    return Measurement(
        "steady", sample.at_s, sensor_id, calibration.id,
        illuminance_lx=max(0.0, value) if usable else None, u_rel=u_rel, range_index=sample.range_index,
        clipped=sample.clipped, incomplete=not usable, modulation=modulation, held_off_m=sample.held_off_m,
        note="clips: too bright for this range" if sample.clipped else "" if usable else "the sensor sent no number",
    )  # fmt: skip


def mean_level(levels: Sequence[Measurement]) -> Measurement:
    """Return one measurement from the levels of about a second: their mean, and its uncertainty from their spread.

    Raises:
        AnalysisError: no level that counts.
    """
    values = [m.illuminance_lx for m in levels if m.illuminance_lx is not None and not m.clipped]
    if not values:
        if levels:
            return levels[-1]
        raise AnalysisError("no steady light came from the sensor: check that it is connected and switched on")
    mean = math.fsum(values) / len(values)
    spread = 0.0
    if len(values) > 1 and mean > 0.0:
        spread = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1)) / mean
    own = max(m.u_rel for m in levels)
    modulations = [m.modulation for m in levels if m.modulation is not None]
    return levels[-1]._replace(
        illuminance_lx=mean,
        u_rel=max(spread, own) / math.sqrt(len(values)),
        modulation=max(modulations, default=None),
        clipped=any(m.clipped for m in levels),
        note="",
    )
