"""A pulse prepared for reading, its peak and its unresolved edges, unbiased by noise and finer than the sample interval.

The highest sample is too high by noise and too low by sampling.  So the peak comes from a polynomial in the logarithm of
the light around the top, as wide as it still fits; ``flash_flank`` finds crossings in the same spirit.  An edge steeper than the
samples lies in the middle between two of them, for peak, durations and exposure alike.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from meterlink.photometry.flash import fit as flash_fit
from meterlink.photometry.flash.input import Array, runs_of, smooth

_TOP_LEVELS = (0.995, 0.99, 0.98, 0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5)
JUMP = 0.15
"""A lone step between two samples of at least this part of the peak is an edge that the samples do not resolve."""
_ENOUGH_SAMPLES = 300
"""Samples in a fit beyond which neighbours are averaged."""
MODEL_ERROR = 0.001
"""By how much of the peak the true shape may leave the fitted one."""
PEAK_CHOICE = 1.2
"""Uncertainties are widened by this: window and shape are chosen by the same noisy data (by simulation)."""
_DRAWN = 0.7
"""Part of the change between the narrower windows and the widest that is taken as standard uncertainty (by simulation)."""
_HIDDEN = 0.08
"""What may hide between samples at a peak, as part of it, for a step of the whole peak beside it (by simulation)."""


class Peak(NamedTuple):
    """Highest light of a pulse above ambient."""

    light_lx: float
    u_lx: float
    """Without ``u_edge_lx``."""
    u_edge_lx: float = 0.0
    """Not 0 when the peak is at an unresolved edge: this error and the edge's own cancel in durations."""


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
    rising: list[int]
    """The sample right before each unresolved rising edge."""
    falling: list[int]


def prepare(time_s: Array, light_lx: Array, noise_lx: float, widest: float = math.inf) -> Pulse:
    """Return the pulse with a moving average as wide as its noise asks and its width allows (half of it: ``widest``)."""
    calm = smooth(light_lx, 1) if light_lx.size > 8 else light_lx
    height = float(calm.max())
    width = int((calm > 0.1 * height).sum())
    wanted = ((noise_lx / (0.01 * height)) ** 2 - 1.0) / 2.0 if height > 0.0 else 0.0
    # a thirtieth of the pulse's width blurs nothing, and among many samples even rare noise is met
    half = max(width // 60, min(width // 14, math.ceil(max(wanted, 0.0))))
    half = int(min(half, widest))
    calm = smooth(light_lx, half)
    calm_noise = noise_lx / math.sqrt(2 * half + 1)
    # the highest of many noisy samples is too high: take all that may be the top
    top = calm[calm >= float(calm.max()) - 3.5 * calm_noise]
    height = float(top.mean())
    return Pulse(time_s, light_lx, calm, noise_lx, calm_noise, half, height, *find_jumps(light_lx, height, noise_lx))


def runs_above(pulse: Pulse, level_lx: float) -> list[tuple[int, int]]:
    """Return [first, last] samples of each stretch above a level; wiggles within noise do not count as humps."""
    margin = 2.0 * pulse.calm_noise_lx
    runs: list[tuple[int, int]] = []
    for start, end in runs_of(pulse.calm_lx > level_lx):
        if runs and float(pulse.calm_lx[runs[-1][1] + 1 : start].min()) > level_lx - margin:
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((start, end))
    tall = [run for run in runs if float(pulse.calm_lx[run[0] : run[1] + 1].max()) > level_lx + margin]
    return tall or runs


def find_jumps(light_lx: Array, height_lx: float, noise_lx: float) -> tuple[list[int], list[int]]:
    """Return the samples right before each unresolved edge: (rising, falling).

    An edge is a step that stands alone: far above noise, the steps beside it much smaller.
    """
    steps = light_lx[1:] - light_lx[:-1]
    size = np.abs(steps)
    rising: list[int] = []
    falling: list[int] = []
    for at in np.flatnonzero(size > max(JUMP * height_lx, 6.0 * noise_lx)).tolist():
        step = float(size[at])
        beside = max(float(size[at - 1]) if at else 0.0, float(size[at + 1]) if at + 1 < size.size else 0.0)
        if beside < 0.3 * step + noise_lx:
            (rising if steps[at] > 0.0 else falling).append(at)
    return rising, falling


def peak(pulse: Pulse) -> Peak:
    """Return the peak: the highest point of a polynomial in log light over the widest top that it fits."""
    top = int(np.argmax(pulse.calm_lx))
    low_limit = max((j + 1 for j in pulse.rising if j < top + pulse.half), default=-1)
    high_limit = min((j for j in pulse.falling if j >= max(top - pulse.half, low_limit)), default=pulse.light_lx.size)
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
    if fits[-1][1] > 1.0:
        return min(fits, key=lambda fit: fit[1])[0]
    best = fits[-1][0]
    # a lopsided top draws the wider fit away from the narrower one before its misfit can be told from noise
    drawn = max((abs(best.light_lx - fit[0].light_lx) for fit in fits[-3:-1]), default=0.0)
    return best._replace(u_lx=math.hypot(best.u_lx, _DRAWN * drawn))


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


def part_of(pulse: Pulse, first: int, last: int) -> tuple[Array, Array, float]:
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
    time, light, noise = part_of(pulse, first, last)
    if float(light.min()) <= 0.2 * pulse.height_lx:
        return None
    begin, end = float(pulse.time_s[first]), float(pulse.time_s[last])
    middle, scale = (begin + end) / 2.0, (end - begin) / 2.0
    x = (time - middle) / scale
    # a small model error keeps noise-free data from narrowing the window to nothing
    sigma = math.hypot(noise, MODEL_ERROR * pulse.height_lx)
    weight = light / sigma
    one_sided = at_rise or at_fall
    degree = 1 if one_sided and light.size < 5 else 2
    # a short window cannot show that its top is flat or slanted, so there a round top is taken for granted
    least = 0 if one_sided or light.size >= 9 else 2
    powers, target = flash_fit.powers_of(x, 2 * degree + 1), np.log(light)
    while True:
        fit = flash_fit.polynomial(powers, target, weight, degree + 1)
        if degree == least or abs(fit.coefficients[-1]) > 2.0 * math.sqrt(fit.inverse[-1][-1]):
            break
        degree -= 1
    freedom = light.size - degree - 1
    allowed = freedom + 1.2 * math.sqrt(2.0 * freedom) + 0.5 if freedom > 0 else math.inf
    ends = [-1.0, 1.0]
    if at_rise and first > 0:
        ends[0] -= (begin - float(pulse.time_s[first - 1])) / 2.0 / scale
    if at_fall and last + 1 < pulse.time_s.size:
        ends[1] += (float(pulse.time_s[last + 1]) - end) / 2.0 / scale
    where = _highest(fit.coefficients, ends)
    value = math.exp(sum(c * where**k for k, c in enumerate(fit.coefficients)))
    hidden = _HIDDEN * _step_beside(pulse, first, last, at_rise, at_fall) ** 2 / value
    u = math.hypot(PEAK_CHOICE * value * fit.spread_at(where), hidden)
    edge = 0.0
    if (at_rise and where == ends[0]) or (at_fall and where == ends[1]):
        slope = sum(k * fit.coefficients[k] * where ** (k - 1) for k in range(1, degree + 1)) / scale
        edge = abs(slope) * value * 0.29 * (end - begin) / (last - first)
    return Peak(value, u, edge), fit.misfit / allowed


def _step_beside(pulse: Pulse, first: int, last: int, at_rise: bool, at_fall: bool) -> float:
    """Largest step between neighbours at the top, resolved edges only."""
    low = first if at_rise else max(first - 1, 0)
    high = last if at_fall else min(last + 1, pulse.light_lx.size - 1)
    step = float(np.abs(np.diff(pulse.light_lx[low : high + 1])).max()) if high > low else 0.0
    return max(0.0, step - 2.0 * pulse.noise_lx)


def _highest(coefficients: list[float], ends: list[float]) -> float:
    if len(coefficients) == 1:
        return 0.0
    places = list(ends)
    if len(coefficients) == 3 and coefficients[2] < 0.0:
        vertex = -coefficients[1] / (2.0 * coefficients[2])
        if ends[0] < vertex < ends[1]:
            places.append(vertex)
    return max(places, key=lambda place: sum(c * place**k for k, c in enumerate(coefficients)))


def _plain_peak(pulse: Pulse, top: int) -> Peak:
    """Too few samples at the top for any fit: the highest one, with what may hide between samples."""
    low, high = max(0, top - pulse.half - 1), top + pulse.half + 2
    index = low + int(np.argmax(pulse.light_lx[low:high]))
    value = float(pulse.light_lx[index])
    neighbours = pulse.light_lx[max(0, index - 1) : index + 2]
    hidden = (value - float(neighbours.min())) * 0.15
    return Peak(value, math.hypot(pulse.noise_lx, hidden))
