"""Which sensitivity range to use: beforehand from what is expected, afterwards from what came.  Pure decisions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from meterlink.records import Calibration
from meterlink.sensor.measuring.calibrate import raw_for
from meterlink.words.told import told

HEADROOM = 0.7
"""A peak is expected to reach at most so much of full scale: a light set half a stop brighter still fits."""
SMALL_PEAK = 0.1
"""Below a tenth 8 bits cannot time a short flash within 5 %: use a more sensitive range if there is one."""
SMALLEST_PEAK = 0.02
"""Five codes of 8 bits: below it, on the most sensitive range, there is no reading."""
FITS = 0.9
"""After a switch the same pop must stay below this, or the ranges would be tried in turn for ever."""
STEADY_HIGH, STEADY_LOW = 0.9, 0.04
"""Steady light is averaged over thousands of samples, so a smaller part of full scale does."""
DEFAULT_PULSE_S = 1e-3
"""Exposure over peak of a middling studio flash (common practice, no published source), until a pop has told."""


class Advice(NamedTuple):
    """What a pop says about the range that it was taken on."""

    range_index: int
    """To be used from now on."""
    clipped: bool = False
    too_dim: bool = False
    note: object = ""


def for_peak(peak_lx: float, calibration: Calibration) -> int:
    """Return the most sensitive range on which a peak of ``peak_lx`` stays below ``HEADROOM``, else the least."""
    fitting = [i for i in range(len(calibration.ranges)) if raw_for(peak_lx, i, calibration) <= HEADROOM]
    return min(fitting, key=lambda i: calibration.ranges[i].full_scale_lx, default=_least_sensitive(calibration))


def for_exposure(exposure_lxs: float, pulse_s: float, calibration: Calibration) -> int:
    """Return the range for an expected flash; ``pulse_s`` is its exposure over its peak."""
    return for_peak(exposure_lxs / pulse_s, calibration)


def after_pop(peak_raw: float, clipped: bool, range_index: int, calibration: Calibration, names: Sequence[str]) -> Advice:
    """Judge a pop by its peak above dark, as a fraction of full scale, and choose the range of the next one."""
    scales = calibration.ranges
    here = scales[range_index].full_scale_lx
    if clipped:
        wider = [i for i in range(len(scales)) if scales[i].full_scale_lx > here]
        if wider:
            chosen = min(wider, key=lambda i: scales[i].full_scale_lx)
            return Advice(chosen, True, False, told("clips_now_on", range=_name(names, chosen)))
        return Advice(range_index, True, False, told("clips_on_widest"))
    if peak_raw < SMALL_PEAK:
        finer = [
            i for i in range(len(scales)) if scales[i].full_scale_lx < here and peak_raw * here / scales[i].full_scale_lx < FITS
        ]
        if finer:
            chosen = min(finer, key=lambda i: scales[i].full_scale_lx)
            return Advice(chosen, False, True, told("small_now_on", range=_name(names, chosen)))
        if peak_raw < SMALLEST_PEAK:
            return Advice(range_index, False, True, told("too_dim_to_read"))
    return Advice(range_index)


def for_steady(raw: float, clipped: bool, range_index: int, calibration: Calibration) -> int:
    """Return the range for steady light, with so much distance between up and down that it does not swing."""
    scales = calibration.ranges
    here = scales[range_index].full_scale_lx
    if clipped or raw > STEADY_HIGH:
        wider = [i for i in range(len(scales)) if scales[i].full_scale_lx > here]
        return min(wider, key=lambda i: scales[i].full_scale_lx, default=range_index)
    if raw - scales[range_index].dark_raw < STEADY_LOW:
        light = (raw - scales[range_index].dark_raw) * here
        finer = [i for i in range(len(scales)) if scales[i].full_scale_lx < here and raw_for(light, i, calibration) < HEADROOM]
        return min(finer, key=lambda i: scales[i].full_scale_lx, default=range_index)
    return range_index


def _least_sensitive(calibration: Calibration) -> int:
    return max(range(len(calibration.ranges)), key=lambda i: calibration.ranges[i].full_scale_lx, default=0)


def _name(names: Sequence[str], index: int) -> object:
    return names[index] if index < len(names) else told("range_number", number=index)
