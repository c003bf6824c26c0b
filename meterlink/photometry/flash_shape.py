"""Peak and crossings of a pulse, unbiased by noise and finer than the sample interval.

The highest sample is too high by noise and too low by sampling, and a first or last crossing of a noisy flank is too
early or too late.  So the peak comes from a polynomial in the logarithm of the light around the top, as wide as it still fits, and
each crossing from an exponential fitted to the flank around it: both average the noise and follow the shape.
An edge steeper than the samples lies in the middle between two of them, for flash, durations and exposure alike.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from meterlink.photometry.flash_input import Array, smooth

_TOP_LEVELS = (0.995, 0.99, 0.98, 0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5)
JUMP = 0.15
"""A lone step between two samples of at least this part of the peak is an edge that the samples do not resolve."""
_ENOUGH_SAMPLES = 300
"""Samples in a fit beyond which neighbours are averaged."""
_MODEL_ERROR = 0.001
"""By how much of the peak the true shape may leave the fitted one."""
_FLANK_SPREADS = (0.55, 0.3, 0.15, 0.08)
"""A flank is fitted between exp(-0.55) and exp(0.55) times the level, nearer by when that does not fit."""
PEAK_CHOICE = 1.2
FLANK_CHOICE = 1.3
"""Uncertainties are widened by these: window and shape are chosen by the same noisy data (by simulation)."""
_HIDDEN = 0.08
"""What may hide between samples at a peak, as part of it, for a step of the whole peak beside it (by simulation)."""


class Peak(NamedTuple):
    """Highest light of a pulse above ambient."""

    light_lx: float
    u_lx: float
    """Without ``u_edge_lx``."""
    time_s: float
    sample_count: int
    """Samples that the estimate rests on."""
    u_edge_lx: float = 0.0
    """Not 0 when the peak is at an unresolved edge: this error and the edge's own cancel in durations."""


class Crossing(NamedTuple):
    """Where a flank passes a level."""

    time_s: float
    u_s: float
    """From noise and sampling, at this level."""
    slope_lx_s: float
    """Absolute slope there."""
    jump: bool


class Pulse(NamedTuple):
    """A pulse above ambient, prepared once for all that is read off it."""

    time_s: Array
    light_lx: Array
    """Ambient subtracted."""
    calm_lx: Array
    """Moving average: where to look, never what is reported."""
    noise_lx: float
    calm_noise_lx: float
    half: int
    height_lx: float
    """Highest calm light."""


def prepare(time_s: Array, light_lx: Array, noise_lx: float) -> Pulse:
    """Return the pulse with a moving average as wide as its noise asks and its width allows."""
    calm = smooth(light_lx, 1) if light_lx.size > 8 else light_lx
    height = float(calm.max())
    width = int((calm > 0.1 * height).sum())
    wanted = ((noise_lx / (0.01 * height)) ** 2 - 1.0) / 2.0 if height > 0.0 else 0.0
    # a thirtieth of the pulse's width blurs nothing, and among many samples even rare noise is met
    half = max(width // 60, min(width // 14, math.ceil(max(wanted, 0.0))))
    calm = smooth(light_lx, half)
    calm_noise = noise_lx / math.sqrt(2 * half + 1)
    # the highest of many noisy samples is too high: take all that may be the top
    top = calm[calm >= float(calm.max()) - 3.5 * calm_noise]
    return Pulse(time_s, light_lx, calm, noise_lx, calm_noise, half, float(top.mean()))


def _calmer(pulse: Pulse, level_lx: float) -> Pulse:
    """Return the pulse with a moving average in which noise cannot hide a flank at this level."""
    width = int((pulse.calm_lx > level_lx).sum())
    wanted = ((pulse.noise_lx / (0.15 * level_lx)) ** 2 - 1.0) / 2.0
    half = min(width // 7, math.ceil(max(wanted, 0.0)))
    if half <= pulse.half:
        return pulse
    return pulse._replace(
        calm_lx=smooth(pulse.light_lx, half), half=half, calm_noise_lx=pulse.noise_lx / math.sqrt(2 * half + 1)
    )


def runs_above(pulse: Pulse, level_lx: float) -> list[tuple[int, int]]:
    """Return [first, last] samples of each stretch above a level; wiggles within noise do not count as humps."""
    above = pulse.calm_lx > level_lx
    edges = np.flatnonzero(np.diff(above.astype(np.int8)))
    starts = [*([0] if above[0] else []), *(int(e) + 1 for e in edges if not above[e])]
    ends = [*(int(e) for e in edges if above[e]), *([above.size - 1] if above[-1] else [])]
    margin = 2.0 * pulse.calm_noise_lx
    runs: list[tuple[int, int]] = []
    for start, end in zip(starts, ends, strict=True):
        if runs and float(pulse.calm_lx[runs[-1][1] + 1 : start].min()) > level_lx - margin:
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((start, end))
    tall = [run for run in runs if float(pulse.calm_lx[run[0] : run[1] + 1].max()) > level_lx + margin]
    return tall or runs


def find_jumps(pulse: Pulse) -> tuple[Array, Array]:
    """Return the samples right before each unresolved edge: (rising, falling).

    An edge is a step that stands alone: far above noise, the steps beside it much smaller.
    """
    steps = np.diff(pulse.light_lx)
    size = np.abs(steps)
    beside = np.zeros_like(size)
    beside[1:] = size[:-1]
    beside[:-1] = np.maximum(beside[:-1], size[1:])
    alone = (size > max(JUMP * pulse.height_lx, 6.0 * pulse.noise_lx)) & (beside < 0.3 * size + 2.0 * pulse.noise_lx)
    return np.flatnonzero(alone & (steps > 0.0)).astype(float), np.flatnonzero(alone & (steps < 0.0)).astype(float)


def peak(pulse: Pulse) -> Peak:
    """Return the peak: the highest point of a polynomial in log light over the widest top that it fits."""
    rising, falling = find_jumps(pulse)
    top = _top_sample(pulse)
    low_limit = max((int(j) + 1 for j in rising if j < top + pulse.half), default=-1)
    high_limit = min((int(j) for j in falling if j >= max(top - pulse.half, low_limit)), default=pulse.light_lx.size)
    at_rise, at_fall = low_limit >= 0, high_limit < pulse.light_lx.size
    low_limit, high_limit = max(low_limit, 0), min(high_limit, pulse.light_lx.size - 1)
    fits: list[tuple[Peak, float]] = []
    for level in _TOP_LEVELS:
        if (1.0 - level) * pulse.height_lx < 2.0 * pulse.calm_noise_lx and level > 0.8:
            continue  # so near to the top only noise would choose the samples
        bound = level * pulse.height_lx - 1.5 * pulse.calm_noise_lx
        window = _window(pulse, top, bound, low_limit, high_limit)
        if window[1] - window[0] < 2:
            continue
        fit = _fit_top(pulse, window, at_rise and window[0] == low_limit, at_fall and window[1] == high_limit)
        if fit is None or (fit[1] > 1.0 and fits and fits[-1][1] <= 1.0):
            break
        fits.append(fit)
    if not fits:
        return _plain_peak(pulse, top)
    return fits[-1][0] if fits[-1][1] <= 1.0 else min(fits, key=lambda fit: fit[1])[0]


def _top_sample(pulse: Pulse) -> int:
    return int(np.argmax(pulse.calm_lx))


def _window(pulse: Pulse, top: int, level: float, low_limit: int, high_limit: int) -> tuple[int, int]:
    low = high = min(max(top, low_limit), high_limit)
    below = np.flatnonzero(pulse.calm_lx[low_limit : low + 1] < level)
    # the moving average blurs an edge that ends the window: there the edge itself is the limit
    low = low_limit + (int(below[-1]) + 1 if below.size else 0)
    if low - low_limit <= pulse.half:
        low = low_limit
    below = np.flatnonzero(pulse.calm_lx[high : high_limit + 1] < level)
    high = high + int(below[0]) - 1 if below.size else high_limit
    return min(low, high), high


def _part(pulse: Pulse, first: int, last: int) -> tuple[Array, Array, float]:
    """Return (times, light, noise) of a window, neighbours averaged where it has more samples than a fit needs."""
    time, light = pulse.time_s[first : last + 1], pulse.light_lx[first : last + 1]
    block = light.size // _ENOUGH_SAMPLES
    if block < 2:
        return time, light, pulse.noise_lx
    count = light.size // block * block
    means = (values[:count].reshape(-1, block).mean(axis=1) for values in (time, light))
    return *means, pulse.noise_lx / math.sqrt(block)


def _fit_top(pulse: Pulse, window: tuple[int, int], at_rise: bool, at_fall: bool) -> tuple[Peak, float] | None:
    """Return the peak of the fit and its misfit against what chance allows (above 1: the shape does not fit)."""
    first, last = window
    time, light, noise = _part(pulse, first, last)
    if float(light.min()) <= 0.2 * pulse.height_lx:
        return None
    begin, end = float(pulse.time_s[first]), float(pulse.time_s[last])
    middle, scale = (begin + end) / 2.0, (end - begin) / 2.0
    x = (time - middle) / scale
    # a small model error keeps noise-free data from narrowing the window to nothing
    sigma = math.hypot(noise, _MODEL_ERROR * pulse.height_lx)
    weight = light / sigma
    one_sided = at_rise or at_fall
    degree = 1 if one_sided and light.size < 5 else 2
    # a short window cannot show that its top is flat or slanted, so there a round top is taken for granted
    least = 0 if one_sided or light.size >= 9 else 2
    target = np.log(light) * weight
    while True:
        design = x[:, None] ** np.arange(degree + 1) * weight[:, None]
        inverse = _inverse(design)
        coefficients = inverse @ (design.T @ target)
        if degree == least or abs(coefficients[-1]) > 2.0 * math.sqrt(inverse[-1, -1]):
            break
        degree -= 1
    freedom = light.size - degree - 1
    misfit = float(((target - design @ coefficients) ** 2).sum())
    allowed = freedom + 1.2 * math.sqrt(2.0 * freedom) + 0.5 if freedom > 0 else math.inf
    ends = [-1.0, 1.0]
    if at_rise and first > 0:
        ends[0] -= (begin - float(pulse.time_s[first - 1])) / 2.0 / scale
    if at_fall and last + 1 < pulse.time_s.size:
        ends[1] += (float(pulse.time_s[last + 1]) - end) / 2.0 / scale
    where = _highest(coefficients, ends)
    powers = where ** np.arange(degree + 1)
    value = math.exp(float(coefficients @ powers))
    hidden = _HIDDEN * _step_beside(pulse, first, last, at_rise, at_fall) ** 2 / value
    u = math.hypot(PEAK_CHOICE * value * math.sqrt(float(powers @ inverse @ powers)), hidden)
    edge = 0.0
    if (at_rise and where == ends[0]) or (at_fall and where == ends[1]):
        slope = sum(k * float(coefficients[k]) * where ** (k - 1) for k in range(1, degree + 1)) / scale
        edge = abs(slope) * value * 0.29 * (end - begin) / (last - first)
    return Peak(value, u, middle + where * scale, last - first + 1, edge), misfit / allowed


def _step_beside(pulse: Pulse, first: int, last: int, at_rise: bool, at_fall: bool) -> float:
    """Largest step between neighbours at the top, resolved edges only."""
    low = first if at_rise else max(first - 1, 0)
    high = last if at_fall else min(last + 1, pulse.light_lx.size - 1)
    step = float(np.abs(np.diff(pulse.light_lx[low : high + 1])).max()) if high > low else 0.0
    return max(0.0, step - 2.0 * pulse.noise_lx)


def _highest(coefficients: Array, ends: list[float]) -> float:
    places = list(ends)
    if coefficients.size == 1:
        return 0.0
    if coefficients.size == 3 and coefficients[2] < 0.0:
        vertex = -coefficients[1] / (2.0 * coefficients[2])
        if ends[0] < vertex < ends[1]:
            places.append(float(vertex))
    values = [float(np.polyval(coefficients[::-1], place)) for place in places]
    return places[values.index(max(values))]


def _plain_peak(pulse: Pulse, top: int) -> Peak:
    """Too few samples at the top for any fit: the highest one, with what may hide between samples."""
    low, high = max(0, top - pulse.half - 1), top + pulse.half + 2
    index = low + int(np.argmax(pulse.light_lx[low:high]))
    value = float(pulse.light_lx[index])
    neighbours = pulse.light_lx[max(0, index - 1) : index + 2]
    hidden = (value - float(neighbours.min())) * 0.15
    return Peak(value, math.hypot(pulse.noise_lx, hidden), float(pulse.time_s[index]), 1)


def crossings(pulse: Pulse, level_lx: float, as_one: bool = False) -> list[tuple[Crossing, Crossing, int]]:
    """Return (rise, fall, samples above) of each stretch above a level; ``as_one`` from the first rise to the last fall."""
    pulse = _calmer(pulse, level_lx)
    runs = runs_above(pulse, level_lx)
    if not runs:
        # a spike that the moving average flattens below the level: look at the samples themselves
        top = int(np.argmax(pulse.light_lx))
        runs = runs_above(pulse._replace(calm_lx=pulse.light_lx), level_lx) or [(top, top)]
    if as_one:
        runs = [(runs[0][0], runs[-1][1])]
    calm, size = pulse.calm_lx, pulse.calm_lx.size
    found = []
    for number, (start, end) in enumerate(runs):
        before = runs[number - 1][1] if number else 0
        after = runs[number + 1][0] if number + 1 < len(runs) else size - 1
        # a flank ends at the top of its own hump and at the bottom of the dip beside it
        inside = calm[start : end + 1]
        higher = np.flatnonzero(inside >= min(float(inside.max()), 2.0 * level_lx))
        up_top, down_top = start + int(higher[0]), start + int(higher[-1])
        left = before + int(np.argmin(calm[before : start + 1])) if number else 0
        right = end + int(np.argmin(calm[end : after + 1])) if number + 1 < len(runs) else size - 1
        rise = crossing(pulse, start, level_lx, True, (left, up_top))
        fall = crossing(pulse, end, level_lx, False, (down_top, right))
        found.append((rise, fall, end - start + 1))
    return found


def crossing(pulse: Pulse, index: int, level_lx: float, rising: bool, limits: tuple[int, int]) -> Crossing:
    """Return where the flank at sample ``index`` (the first above a level when rising, else the last) passes it.

    ``limits``: first and last sample that may belong to this flank.
    """
    light, time = pulse.light_lx, pulse.time_s
    jump = _jump_near(pulse, index, level_lx, rising)
    if jump is not None:
        gap = float(time[jump + 1] - time[jump])
        step = abs(float(light[jump + 1] - light[jump]))
        return Crossing(float(time[jump]) + gap / 2.0, 0.29 * gap, step / gap, True)
    best: tuple[Crossing, float] | None = None
    for spread in _FLANK_SPREADS:
        window = _flank(pulse, index, level_lx, rising, limits, spread)
        fit = _fit_flank(pulse, window, level_lx, rising) if window[1] - window[0] >= 3 else None
        if fit is None:
            break
        if best is None or fit[1] < best[1]:
            best = fit
        if fit[1] <= 1.0:
            break
    return best[0] if best is not None else _between(pulse, index, level_lx, rising)


def _jump_near(pulse: Pulse, index: int, level_lx: float, rising: bool) -> int | None:
    """Sample before an unresolved edge that passes the level near ``index``; None when there is none."""
    low = max(0, index - pulse.half - 3)
    high = min(pulse.light_lx.size, index + pulse.half + 4)
    part = pulse._replace(light_lx=pulse.light_lx[low:high])
    for at in find_jumps(part)[0 if rising else 1]:
        before, after = float(part.light_lx[int(at)]), float(part.light_lx[int(at) + 1])
        outer, inner = (before, after) if rising else (after, before)
        if outer <= level_lx + 2.0 * pulse.noise_lx and inner >= level_lx - pulse.noise_lx:
            return low + int(at)
    return None


def _flank(
    pulse: Pulse, index: int, level_lx: float, rising: bool, limits: tuple[int, int], spread: float
) -> tuple[int, int]:
    """Samples around a crossing that one curve may describe: within a factor of the level, inside the limits."""
    lower, upper = level_lx * math.exp(-spread), level_lx * math.exp(spread)
    left, right = pulse.calm_lx[limits[0] : index + 1][::-1], pulse.calm_lx[index : limits[1] + 1]
    reach_left = _until(left < lower if rising else left > upper)
    reach_right = _until(right > upper if rising else right < lower)
    return index - reach_left, index + reach_right


def _until(outside: npt.NDArray[np.bool_]) -> int:
    at = np.flatnonzero(outside)
    return int(at[0]) - 1 if at.size else outside.size - 1


def _fit_flank(
    pulse: Pulse, window: tuple[int, int], level_lx: float, rising: bool
) -> tuple[Crossing, float] | None:
    """Fit the flank on the light itself, where noise has one size: a line, an exponential, one with a bend.

    The simplest that fits is taken (misfit plus two for each parameter, as Akaike's criterion has it).  Returned with
    its misfit against what chance allows: above 1 the shape does not fit.
    """
    time, light, noise = _part(pulse, *window)
    light = light / level_lx
    middle, scale = float(time.mean()), float(time[-1] - time[0])
    x = (time - middle) / scale
    sigma = math.hypot(noise, _MODEL_ERROR * pulse.height_lx) / level_lx
    powers = x[:, None] ** np.arange(3)
    fits = [_line(x, light), _bent(powers[:, :2], light), _bent(powers, light) if x.size >= 6 else None]
    best: tuple[float, float, float, float, float] | None = None
    for fit, shape in zip(fits, ("line", "exponential", "bent"), strict=True):
        if fit is None:
            continue
        coefficients, inverse, misfit = fit
        found = _root(coefficients, shape, rising)
        score = misfit / sigma**2 + 2.0 * coefficients.size
        if found is None or (best is not None and score >= best[0]):
            continue
        place, slope = found
        at = place ** np.arange(coefficients.size)
        freedom = x.size - coefficients.size
        excess = misfit / sigma**2 / (freedom + 2.5 * math.sqrt(2.0 * freedom) + 1.0)
        best = (score, place, slope, math.sqrt(float(at @ inverse @ at)) * sigma / abs(slope), excess)
    if best is None:
        return None
    _, place, slope, u, excess = best
    gap = scale / (window[1] - window[0])
    u_s = math.hypot(FLANK_CHOICE * u * scale, 0.02 * gap)
    return Crossing(middle + place * scale, u_s, abs(slope) / scale * level_lx, False), excess


def _line(x: Array, light: Array) -> tuple[Array, Array, float] | None:
    design = np.stack((np.ones_like(x), x), axis=1)
    inverse = _inverse(design)
    coefficients: Array = inverse @ (design.T @ light)
    return coefficients, inverse, float(((light - design @ coefficients) ** 2).sum())


def _bent(powers: Array, light: Array) -> tuple[Array, Array, float] | None:
    """Fit exp(polynomial) by Gauss-Newton from a weighted fit of the logarithm."""
    safe = np.maximum(light, 0.05)
    weight = safe[:, None]
    design = powers * weight
    coefficients: Array = _inverse(design) @ (design.T @ (np.log(safe) * safe))
    for _ in range(10):
        model = np.exp(np.clip(powers @ coefficients, -8.0, 4.0))
        slanted = powers * model[:, None]
        inverse = _inverse(slanted)
        step = inverse @ (slanted.T @ (light - model))
        coefficients = coefficients + np.clip(step, -2.0, 2.0)
        if float(np.abs(step).max()) < 1e-7:
            break
    model = np.exp(np.clip(powers @ coefficients, -8.0, 4.0))
    return coefficients, inverse, float(((light - model) ** 2).sum())


def _root(coefficients: Array, shape: str, rising: bool) -> tuple[float, float] | None:
    """Return (place, slope in levels) where the fit passes the level in the right direction, near the window only."""
    constant = float(coefficients[0]) - (1.0 if shape == "line" else 0.0)
    linear = float(coefficients[1])
    if coefficients.size == 3 and coefficients[2] != 0.0:
        bend = float(coefficients[2])
        inside = linear**2 - 4.0 * bend * constant
        if inside <= 0.0:
            return None
        # the root with slope of the wanted sign
        slope = math.sqrt(inside) if rising else -math.sqrt(inside)
        place = (slope - linear) / (2.0 * bend)
    else:
        slope = linear
        place = -constant / slope if slope != 0.0 else math.inf
    if (slope > 0.0) != rising or abs(slope) < 0.1 or not -0.7 <= place <= 0.7:
        return None
    return place, slope


def _between(pulse: Pulse, index: int, level_lx: float, rising: bool) -> Crossing:
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
    slope, gap = max(slopes), max(gaps)
    by_noise = 0.7 * pulse.noise_lx / slope
    foot = _foot(pulse, wanted[0], level_lx, rising) if len(places) == 1 else None
    if foot is not None:
        place = max(places[0], foot) if rising else min(places[0], foot)
        return Crossing(place, math.hypot(by_noise, 0.06 * gap, 0.7 * abs(places[0] - foot)), slope, False)
    # how far a curved flank may leave the straight line between two samples grows with the step in it
    curved = 0.25 * gap * min(1.0, slope * gap / pulse.height_lx)
    u = math.hypot(by_noise, curved, (max(places) - min(places)) / 3.0)
    return Crossing(sum(places) / len(places), u, slope, False)


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


def _inverse(design: Array) -> Array:
    """Return the inverse of the normal equations' matrix, also where a column adds nothing."""
    square = design.T @ design
    try:
        inverse = np.linalg.inv(square)
    except np.linalg.LinAlgError:
        inverse = np.linalg.pinv(square)
    return np.asarray(inverse, dtype=np.float64)
