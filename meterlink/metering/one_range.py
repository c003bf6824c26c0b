"""Several lights may fire next, and the sensor can listen on one range only: which of them that range does not read.

The range is the brightest one's, so that nothing clips.  A light so much weaker that its pop would be lost there, or read badly,
waits until those that need the coarser range have fired.
"""

from __future__ import annotations

from collections.abc import Iterable

from meterlink.errors import MeterlinkError
from meterlink.metering.expectation import expectation_of
from meterlink.metering.opened_set import OpenedSet
from meterlink.metering.walk import Request
from meterlink.records import Calibration
from meterlink.sensor.measuring.calibrate import scale_of
from meterlink.sensor.measuring.ranges import for_peak

USUAL_PULSE_S = 1e-3
"""Exposure over peak of a head that has not told: only compares the lights of a walk."""
LEAST_PEAK = 0.035
"""Of full scale: from here on the pops of 8 bits that the chip's model gives are seen and read within a tenth of a stop, k=2
(measured on it, flashes of 0.2 to 1.5 ms; no published source)."""


def beyond_one_range(opened: OpenedSet, requests: Iterable[Request], calibration_id: str) -> tuple[list[str], list[str]]:
    """Return the ids of the lights that need a coarser range, and of those that it does not read; both empty when it reads all.

    Lights of which nothing is known are in neither.  ``calibration_id``: of the sensor in use, else of the last one that was used.
    """
    expected = [(r.light_id or "", one) for r in requests if (one := expectation_of(opened, r)) is not None]
    calibration = _calibration(opened, calibration_id) if len(expected) > 1 else None
    if calibration is None or len(calibration.ranges) < 2:
        return [], []
    peaks = {light_id: one.exposure_lxs / (one.pulse_s or USUAL_PULSE_S) for light_id, one in expected}
    coarse = for_peak(max(peaks.values()), calibration)
    full_scale_lx = scale_of(calibration, coarse).full_scale_lx
    finer = [one for one, peak_lx in peaks.items() if for_peak(peak_lx, calibration) != coarse]
    weak = [one for one in finer if peaks[one] < LEAST_PEAK * full_scale_lx]
    if not weak:
        return [], []
    return [one for one in peaks if one not in finer], weak


def _calibration(opened: OpenedSet, calibration_id: str) -> Calibration | None:
    readings = opened.known.records.readings
    used = calibration_id or (readings[-1].calibration_id if readings else "")
    try:
        return opened.library.calibration(used) if used else None
    except MeterlinkError:
        return None
