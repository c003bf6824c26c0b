"""Freezing movement: the trail that each light leaves, and what a fixture's own curve says about shortening it.

t0.1 counts, t0.5 flatters: a tenth of the peak still draws.  Pure formulas on the standard library; ``ValueError``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from meterlink.photometry.exposure import positive


class ReadCurve(NamedTuple):
    """What a fixture's own readings say about a quantity (t0.1 in s, exposure in lx·s) over its power."""

    power_stops: tuple[float, ...]
    """Stops below full, rising."""
    values: tuple[float, ...]

    def at(self, power_stops: float) -> float | None:
        """Return the value at a power, straight between readings in stops; None outside of what was read."""
        powers = self.power_stops
        if not powers[0] - 1e-6 <= power_stops <= powers[-1] + 1e-6:
            return None
        k = max(1, next((i for i, p in enumerate(powers) if p >= power_stops - 1e-9), len(powers) - 1))
        low, high = math.log2(self.values[k - 1]), math.log2(self.values[k])
        x = (power_stops - powers[k - 1]) / (powers[k] - powers[k - 1])
        return math.exp2(low + (high - low) * min(max(x, 0.0), 1.0))


class PowerChoice(NamedTuple):
    """A power that reaches a wanted t0.1, and its cost."""

    power_stops: float
    change_stops: float
    """Change of the dial from where it is now, negative is down."""
    cost_stops: float
    """Change of exposure that comes with it (negative: less light), from the exposure curve when there is one."""


def blur_mm(speed_m_s: float, time_s: float) -> float:
    """Return the length in mm that something moves during a time: its trail at the subject."""
    if not 0.0 <= speed_m_s < math.inf:
        raise ValueError(f"speed must be zero or positive, got {speed_m_s!r}")
    return speed_m_s * positive(time_s, "time_s") * 1000.0


def magnification(focal_length_mm: float, distance_m: float) -> float:
    """Return image size over object size, f / (d - f), for a subject at a distance from the lens."""
    focal = positive(focal_length_mm, "focal_length_mm") / 1000.0
    if not focal < distance_m < math.inf:
        raise ValueError(f"distance must be beyond the focal length of {focal_length_mm:g} mm, got {distance_m!r} m")
    return focal / (distance_m - focal)


def blur_px(trail_mm: float, magnification: float, pixel_pitch_um: float) -> float:
    """Return the trail in pixels of the picture."""
    if not 0.0 <= trail_mm < math.inf:
        raise ValueError(f"trail must be zero or positive, got {trail_mm!r}")
    return trail_mm * 1000.0 * positive(magnification, "magnification") / positive(pixel_pitch_um, "pixel_pitch_um")


def learn(points: Sequence[tuple[float, float]]) -> ReadCurve:
    """Return the curve through readings (power in stops below full, value); readings at one power are averaged in log.

    At least two powers, half a stop apart, are needed: from one nothing follows.
    """
    groups: dict[float, list[float]] = {}
    for power, value in points:
        if not -30.0 <= power <= 0.5:
            raise ValueError(f"power is in stops below full, got {power!r}")
        groups.setdefault(round(power, 2), []).append(math.log2(positive(value, "value")))
    if len(groups) < 2 or max(groups) - min(groups) < 0.5:
        raise ValueError("a curve needs readings at two powers at least half a stop apart")
    powers = tuple(sorted(groups))
    return ReadCurve(powers, tuple(math.exp2(math.fsum(groups[p]) / len(groups[p])) for p in powers))


def power_for_t01(
    durations: ReadCurve, wanted_t01_s: float, now_stops: float, exposures: ReadCurve | None = None
) -> PowerChoice | None:
    """Return the power nearest to the present one at which this fixture's own readings reach the wanted t0.1.

    Cut-off heads get shorter at low power, voltage-controlled ones usually do not: only the readings decide.  None when
    no power that was read reaches it.
    """
    positive(wanted_t01_s, "wanted_t01_s")
    candidates = [p for p, v in zip(durations.power_stops, durations.values, strict=True) if v <= wanted_t01_s * (1 + 1e-9)]
    candidates += _passes(durations, wanted_t01_s)
    present = durations.at(now_stops)
    if present is not None and present <= wanted_t01_s:
        candidates.append(now_stops)
    if not candidates:
        return None
    power = min(candidates, key=lambda p: (abs(p - now_stops), p))
    return choice(power, now_stops, exposures)


def choice(power_stops: float, now_stops: float, exposures: ReadCurve | None) -> PowerChoice:
    """Return a power with what it changes and costs, seen from where the dial is now."""
    change = power_stops - now_stops
    there, here = (None, None) if exposures is None else (exposures.at(power_stops), exposures.at(now_stops))
    return PowerChoice(power_stops, change, change if there is None or here is None else math.log2(there / here))


def _passes(curve: ReadCurve, value: float) -> list[float]:
    """Powers between readings at which the curve passes a value."""
    found = []
    target = math.log2(value)
    for k in range(1, len(curve.values)):
        low, high = math.log2(curve.values[k - 1]), math.log2(curve.values[k])
        if (low - target) * (high - target) < 0.0:
            span = curve.power_stops[k] - curve.power_stops[k - 1]
            found.append(curve.power_stops[k - 1] + span * (target - low) / (high - low))
    return found
