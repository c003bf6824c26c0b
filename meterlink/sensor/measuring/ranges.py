"""Which sensitivity range to use: beforehand from what is expected, afterwards from what came.  Pure decisions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
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
    chosen = _finest(calibration, lambda i: raw_for(peak_lx, i, calibration) <= HEADROOM)
    scales = calibration.ranges
    return chosen if chosen is not None else max(range(len(scales)), key=lambda i: scales[i].full_scale_lx, default=0)


def after_pop(peak_raw: float, clipped: bool, range_index: int, calibration: Calibration, names: Sequence[str]) -> Advice:
    """Judge a pop by its peak above dark, as a fraction of full scale, and choose the range of the next one."""
    full_lx = [scale.full_scale_lx for scale in calibration.ranges]
    here = full_lx[range_index]
    if clipped:
        chosen = _finest(calibration, lambda i: full_lx[i] > here)
        if chosen is None:
            return Advice(range_index, clipped=True, note=told("clips_on_widest"))
        return Advice(chosen, clipped=True, note=told("clips_now_on", range=_name(names, chosen)))
    if peak_raw < SMALL_PEAK:
        chosen = _finest(calibration, lambda i: full_lx[i] < here and peak_raw * here / full_lx[i] < FITS)
        if chosen is not None:
            return Advice(chosen, too_dim=True, note=told("small_now_on", range=_name(names, chosen)))
        if peak_raw < SMALLEST_PEAK:
            return Advice(range_index, too_dim=True, note=told("too_dim_to_read"))
    return Advice(range_index)


def for_steady(raw: float, clipped: bool, range_index: int, calibration: Calibration) -> int:
    """Return the range for steady light, with so much distance between up and down that it does not swing."""
    scales = calibration.ranges
    here, dark, _ = scales[range_index]
    chosen = None
    if clipped or raw > STEADY_HIGH:
        chosen = _finest(calibration, lambda i: scales[i].full_scale_lx > here)
    elif raw - dark < STEADY_LOW:
        light = (raw - dark) * here
        chosen = _finest(calibration, lambda i: scales[i].full_scale_lx < here and raw_for(light, i, calibration) < HEADROOM)
    return range_index if chosen is None else chosen


def _finest(calibration: Calibration, fits: Callable[[int], bool]) -> int | None:
    """Return the most sensitive of the ranges that fit; None when none does."""
    fitting = filter(fits, range(len(calibration.ranges)))
    return min(fitting, key=lambda i: calibration.ranges[i].full_scale_lx, default=None)


def _name(names: Sequence[str], index: int) -> object:
    return names[index] if index < len(names) else told("range_number", number=index)
