"""The scale of a sensor's range finder from a ruler: two distances, one minute.

Two medians against two true distances fix offset and scale; what each median is worth and how well a ruler is laid decide how
well.  Kept by the sensor's id, apart from its calibrations: a new one does not make older readings foreign.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import hypot, isfinite, pi, sqrt
from statistics import median, stdev
from typing import Any, NamedTuple

from meterlink.errors import CalibrationError
from meterlink.records import HeldOff, RangerState
from meterlink.sensor.measuring.ranger import FACTORY, RangerScale

RULER_M = 0.002
"""How well the dome's plane is held to a mark of a ruler (k=1): our own estimate, no published source."""
LEAST_APART_M = 0.1
LEAST_FIGURES = 10
SCALES = (0.8, 1.25)
MOST_OFFSET_M = 0.1


class Mark(NamedTuple):
    """What the finder said while the dome was held at one mark of the ruler."""

    true_m: float
    figure_m: float
    u_m: float
    returned: float | None = None
    """Signal times distance squared, counts/s · m²."""


def key(sensor_id: str) -> str:
    """Where the library remembers a sensor's scale."""
    return f"ranger:{sensor_id}"


def mark(true_m: float, said: Iterable[HeldOff]) -> Mark:
    """Return one mark from the finder's measurements there.  Raises CalibrationError: too few good ones, or the dome moved."""
    good = [one for one in said if one.state == RangerState.GOOD and one.held_off_m is not None]
    if len(good) < LEAST_FIGURES:
        raise CalibrationError("the range finder sees nothing there: hold the dome before a white card, its back to it")
    figures = [one.held_off_m or 0.0 for one in good]
    spread = stdev(figures)
    if spread > 0.02:
        raise CalibrationError("the distance changed by centimetres meanwhile: lay the sensor down, or rest it on something")
    returned = [one.signal * (one.held_off_m or 0.0) ** 2 for one in good if one.signal is not None]
    u = hypot(spread * sqrt(pi / 2 / len(figures)), RULER_M)
    return Mark(true_m, median(figures), u, median(returned) if returned else None)


def fit(marks: Sequence[Mark]) -> RangerScale:
    """Return offset and scale through two marks.

    Raises CalibrationError: they are too near each other, or do not fit what such a finder can be off by.
    """
    near, far = sorted(marks[:2])
    apart = far.true_m - near.true_m
    if apart < LEAST_APART_M:
        raise CalibrationError("the two distances must be 10 cm apart or more, e.g. 10cm 30cm")
    run = far.figure_m - near.figure_m
    scale = apart / run if run > 0.0 else 0.0
    offset = near.true_m - scale * near.figure_m
    if not SCALES[0] <= scale <= SCALES[1] or abs(offset) > MOST_OFFSET_M:
        raise CalibrationError("the finder's figures do not follow the ruler: check both distances, and what is in its way")
    u_scale = hypot(near.u_m, far.u_m) / apart
    # Held to the near mark; what the scale's own error adds there is in u_scale_rel.
    u_offset = hypot(near.u_m, u_scale * near.true_m)
    returned = [one.returned for one in marks if one.returned is not None]
    return RangerScale(offset, scale, u_offset, u_scale, median(returned) if returned else None)


def from_json(data: Any) -> RangerScale:
    """Return a remembered scale (its fields by name); what cannot be one gives that of a finder that was never calibrated."""
    try:
        offset, scale, u_offset, u_scale = (float(data[name]) for name in RangerScale._fields[:4])
        white = data.get("white")
        white = float(white) if white is not None and float(white) > 0.0 else None
    except (AttributeError, KeyError, TypeError, ValueError, IndexError):
        return FACTORY
    found = RangerScale(offset, scale, u_offset, u_scale, white)
    numbers = [one for one in found if one is not None]
    possible = all(map(isfinite, numbers)) and SCALES[0] <= found.scale <= SCALES[1] and abs(found.offset_m) <= MOST_OFFSET_M
    return found if possible and min(found.u_offset_m, found.u_scale_rel) >= 0.0 else FACTORY
