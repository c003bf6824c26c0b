"""Where a flank passes a level between two samples, when too few lie on it for a fit: see ``flash_flank``."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from meterlink.photometry.flash.shape import Pulse

_OF_TWO = 1.0
"""Part of the noise that moves a crossing between two samples (0.82 on a straight line, more with a bend)."""


class Crossing(NamedTuple):
    """Where a flank passes a level."""

    time_s: float
    u_s: float
    """From noise and sampling, at this level."""
    slope_lx_s: float
    """Absolute slope there."""
    jump: bool
    corner: float = 0.0
    """How likely the light is cut off softly beside it."""


def between(pulse: Pulse, index: int, level_lx: float, rising: bool) -> Crossing:
    """Straight line between the samples that bracket the level: the mean of the nearest and the outermost pair."""
    light, time = pulse.light_lx, pulse.time_s
    low, high = max(0, index - pulse.half - 2), min(light.size, index + pulse.half + 3)
    above = light[low:high] >= level_lx
    change = np.flatnonzero(above[1:] != above[:-1])
    wanted = [int(k) + low for k in change if bool(above[k + 1]) == rising]
    if not wanted:
        at = float(time[index])
        gap = float(time[min(index + 1, time.size - 1)] - time[max(index - 1, 0)]) / 2.0
        return Crossing(at, 0.5 * gap, level_lx / gap if gap > 0 else math.inf, False)
    places, slopes, gaps = [], [], []
    for k in {wanted[0], wanted[-1]}:
        gap = float(time[k + 1] - time[k])
        step = float(light[k + 1] - light[k])
        places.append(float(time[k]) + gap * (level_lx - float(light[k])) / step)
        slopes.append(abs(step) / gap)
        gaps.append(gap)
    slope, gap = _slope_at(pulse, wanted[0], max(slopes)), max(gaps)
    by_noise = _OF_TWO * pulse.noise_lx / slope
    foot = _foot(pulse, wanted[0], level_lx, rising) if len(places) == 1 else None
    if foot is not None:
        place = max(places[0], foot) if rising else min(places[0], foot)
        return Crossing(place, math.hypot(by_noise, 0.06 * gap, 0.6 * abs(places[0] - foot)), slope, False)
    curve = _parabolas(pulse, wanted[0], level_lx, rising) if len(places) == 1 else None
    if curve is not None:
        return Crossing(float(time[wanted[0]]) + gap * curve[0], math.hypot(by_noise, gap * curve[1]), slope, False)
    # how far a curved flank may leave the straight line between two samples grows with the step in it
    curved = 0.25 * gap * min(1.0, slope * gap / pulse.height_lx)
    u = math.hypot(by_noise, curved, (max(places) - min(places)) / 3.0)
    return Crossing(sum(places) / len(places), u, slope, False)


def _slope_at(pulse: Pulse, before: int, slope_lx_s: float) -> float:
    """Return the slope between two samples, over more of them where noise makes up a good part of it."""
    step = abs(float(pulse.light_lx[before + 1] - pulse.light_lx[before]))
    low, high = before - pulse.half - 1, before + pulse.half + 2
    if step > 4.0 * pulse.noise_lx or low < 0 or high >= pulse.light_lx.size:
        return slope_lx_s
    wide = abs(float(pulse.calm_lx[high] - pulse.calm_lx[low])) / float(pulse.time_s[high] - pulse.time_s[low])
    return max(wide, 0.2 * slope_lx_s)


def _parabolas(pulse: Pulse, before: int, level_lx: float, rising: bool) -> tuple[float, float] | None:
    """Return (place in the interval, its doubt) by parabolas through three samples, of the light and of its logarithm.

    None unless the light climbs inward over all three and stands clear of noise.  The middle of the two is taken; their
    distance tells how much the shape matters.
    """
    light = pulse.light_lx
    outer, inner, next_in = (before, before + 1, before + 2) if rising else (before + 1, before, before - 1)
    if not 0 <= next_in < light.size:
        return None
    values = [float(light[k]) for k in (outer, inner, next_in)]
    if values[0] < max(3.0 * pulse.noise_lx, 0.01 * pulse.height_lx) or not values[0] < values[1] < values[2]:
        return None
    even = [_parabola([v / level_lx - 1.0 for v in values]), _parabola([math.log(v / level_lx) for v in values])]
    place, apart = sum(even) / 2.0, abs(even[0] - even[1])
    return place if rising else 1.0 - place, math.hypot(0.5 * apart, 0.02)


def _parabola(values: list[float]) -> float:
    """Return where, from 0 to 1, the parabola through values at 0, 1 and 2 passes zero."""
    first, bend = values[1] - values[0], values[2] - 2.0 * values[1] + values[0]
    place = -values[0] / first
    for _ in range(4):
        slope = first + bend * (place - 0.5)
        if slope <= 0.0:
            break
        place -= (values[0] + first * place + bend * place * (place - 1.0) / 2.0) / slope
    return min(max(place, 0.0), 1.0)


def _foot(pulse: Pulse, before: int, level_lx: float, rising: bool) -> float | None:
    """Where the flank, carried on straight into the dark, passes the level; None unless the flank starts from the dark.

    A pulse that starts between two samples is dark for a part of that interval, so the chord across it passes too early.
    """
    light, time = pulse.light_lx, pulse.time_s
    dark, near, far = (before, before + 1, before + 2) if rising else (before + 1, before, before - 1)
    if not 0 <= far < light.size or float(light[dark]) > max(3.0 * pulse.noise_lx, 0.02 * pulse.height_lx):
        return None
    step = float(light[far] - light[near])
    if step <= 0.0:
        return None
    reach = (float(light[near]) - level_lx) / step * float(time[far] - time[near])
    place = float(time[near]) - reach
    return min(place, float(time[near])) if rising else max(place, float(time[near]))
