"""Luminous exposure of a pulse: integral above ambient, the tail beyond it, bounds where the sensor clipped, a shutter's part."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from meterlink.photometry.flash.input import Array
from meterlink.photometry.flash.pulse import FlashPulse
from meterlink.photometry.flash.shape import Pulse
from meterlink.photometry.shutter import exposure_until

_TAIL_LEVELS = (0.05, 0.03, 0.02, 0.01, 0.005, 0.002)
_TAIL_DOUBT = 0.3
"""Relative standard uncertainty of a tail that is extrapolated from the decay before it."""
_MOVED = 0.7
"""How much of the noise at the two ends of that decay goes into the exposure (by simulation)."""
_SAMPLING_DOUBT = 0.3
"""Standard uncertainty from sampling, as part of the difference between the sums over even and over odd samples."""
_CHOSEN = 1.1
"""Uncertainties with an extrapolated tail are widened by this: the end is chosen by the same noisy data (by simulation)."""
_CORNER = math.sqrt(1.0 / 720.0 * 1.5)
"""Standard deviation of x (1 - x) / 2 - 1/12 over the root mean square of x and 1 - x together."""
_SMOOTH_BELOW, _MANY = 0.1, 64
"""Part of the height below which a pulse of so many samples falls smoothly (an exponential changes by 4 % from one to the next)."""
_FEW_TO_THE_TAIL = 4
"""Samples between the two levels from which a tail is extrapolated, at least."""


class Integral(NamedTuple):
    """Exposure above ambient with what it is made of."""

    exposure_lxs: float
    u_lxs: float
    tail_lxs: float
    """Extrapolated part."""
    stop: int
    """Last sample that was integrated."""


def weights(time_s: Array) -> Array:
    """Return the weight of each sample in the trapezoidal rule, in s."""
    gaps = np.diff(time_s) / 2.0
    return np.concatenate((gaps, [0.0])) + np.concatenate(([0.0], gaps))


def integrate(pulse: Pulse, first: int, last: int, u_ambient_lx: float, truncated: bool, train: bool = False) -> Integral:
    """Return the exposure from sample ``first`` on, ended where its own uncertainty is least.

    Every further sample adds noise and the error of the ambient level, every sample left out adds doubt about the tail,
    which is taken to decay as the light does before it.  Unresolved edges add 0.29 sample intervals each.
    """
    time, light = pulse.time_s, pulse.light_lx
    whole = weights(time)
    # running sums: every end that is tried costs nothing more (and no BLAS: its threads stall on short vectors)
    areas = _running(light * whole, first)
    squares = _running(whole * whole, first)
    edges = [at for side in (pulse.rising, pulse.falling) for at in side if first <= at < last]
    jumps = sum((0.29 * float((time[at + 1] - time[at]) * (light[at + 1] - light[at]))) ** 2 for at in edges)
    # the same sum over every other sample: how much the curve between samples matters
    end = _curved_until(pulse, first, last)
    coarse = _every_other(time, light, first, end)
    by_noise = 4.0 * pulse.noise_lx**2 * float(squares[end])
    corners = _by_corners(time, light, pulse.noise_lx, (first, last), edges)
    jumps = max(jumps + corners, _SAMPLING_DOUBT**2 * max(0.0, coarse**2 - by_noise))
    if truncated:
        tail = decay_s(pulse, last) * max(0.0, float(light[max(0, last - 2) : last + 1].mean()))
        choices = [(last, tail, 0.5 * tail)]
    else:
        # where the record goes quiet about a tenth of the noise is left
        choices = [(last, 0.0, 0.1 * pulse.noise_lx * decay_s(pulse, last))]
        # the last pulse of a train is no decaying tail
        levels = () if train else _TAIL_LEVELS
        choices += [choice for level in levels if (choice := _tail_below(pulse, areas, last, level)) is not None]
    results = []
    for stop, tail, doubt in choices:
        noise = (pulse.noise_lx**2) * float(squares[stop])
        ambient = (u_ambient_lx * float(time[stop] - time[first])) ** 2
        u = (_CHOSEN if tail > 0.0 and not truncated else 1.0) * math.sqrt(noise + ambient + doubt**2 + jumps)
        results.append(Integral(float(areas[stop]) + tail, u, tail, stop))
    return min(results, key=lambda result: result.u_lxs)


def _running(values: Array, first: int) -> Array:
    sums = np.zeros_like(values)
    sums[first:] = np.cumsum(values[first:])
    return sums


def _by_corners(time: Array, light: Array, noise: float, extent: tuple[int, int], edges: list[int]) -> float:
    """Return the variance of the sum from corners of the curve between samples: where in its interval one is, is not known.

    A corner whose slope changes by c puts the trapezoidal rule off by c h**2 (x (1 - x) / 2 - 1/12), x from 0 to 1, and its
    change of slope is seen in the two second differences around it, c h x and c h (1 - x).
    """
    first, last = extent
    part, steps = light[first : last + 1], np.diff(time[first : last + 1])
    if part.size < 3:
        return 0.0
    bends = part[2:] - 2.0 * part[1:-1] + part[:-2]
    for at in edges:
        bends[max(at - first - 1, 0) : at - first + 1] = 0.0
    wide = (steps[1:] + steps[:-1]) / 2.0
    seen = float(((wide * bends) ** 2).sum()) - 6.0 * noise**2 * float((wide * wide).sum())
    return _CORNER**2 * max(seen, 0.0)


def _curved_until(pulse: Pulse, first: int, last: int) -> int:
    """Return the last sample at which the curve between samples may matter: of a pulse of many samples its tail is smooth.

    There a converter whose firmware carries its rounding on to the next sample alternates by part of a code, which would be taken
    for the curve.
    """
    fallen = _last_above(pulse, _SMOOTH_BELOW * pulse.height_lx, last)
    return fallen if fallen - first >= _MANY else last


def _every_other(time: Array, light: Array, first: int, last: int) -> float:
    sums = []
    for start in (first, first + 1):
        part = slice(start, last + 1, 2)
        sums.append(float((light[part] * weights(time[part])).sum()))
    return sums[0] - sums[1]


def _tail_below(pulse: Pulse, areas: Array, last: int, level: float) -> tuple[int, float, float] | None:
    """Return (stop, tail, its doubt) when the tail below a level is extrapolated, None when noise hides the level.

    An exponential has the same area below a level as half of that between three times the level and it: both ends are
    known levels, and the area averages the noise.
    """
    bound = level * pulse.height_lx
    if bound < 2.5 * pulse.calm_noise_lx:
        return None
    stop = _passed(pulse, bound, last)
    start = _passed(pulse, 3.0 * bound, last)
    if stop >= last - 1 or stop - start < _FEW_TO_THE_TAIL:
        return None
    # the samples at both ends count half
    ends = float(areas[start] - areas[start - 1]) - float(areas[stop] - areas[stop - 1]) if start > 0 else 0.0
    between = float(areas[stop] - areas[start]) + ends / 2.0
    # noise moves both places where a level is passed, each by its size over the slope
    moved = _MOVED * pulse.calm_noise_lx * float(pulse.time_s[stop] - pulse.time_s[start]) / math.log(3.0)
    return stop, between / 2.0, math.hypot(_TAIL_DOUBT * between / 2.0, moved)


def _passed(pulse: Pulse, level: float, last: int) -> int:
    """Return where the tail passes a level: the last sample above it is late under noise, the number of them is not."""
    anchor = _last_above(pulse, 2.0 * level, last)
    return anchor + int(np.count_nonzero(pulse.calm_lx[anchor + 1 : last + 1] > level))


def _last_above(pulse: Pulse, level: float, last: int) -> int:
    above = np.flatnonzero(pulse.calm_lx[: last + 1] > level)
    return int(above[-1]) if above.size else 0


def decay_s(pulse: Pulse, stop: int) -> float:
    """Return the time constant of the decay that ends at ``stop``, 0 when the light has already gone or does not fall."""
    end = float(pulse.calm_lx[stop])
    if end <= pulse.calm_noise_lx:
        end = pulse.calm_noise_lx or 1e-3 * pulse.height_lx
        stop = _last_above(pulse, end, stop)
    at = _last_above(pulse, min(3.0 * end, 0.5 * (end + pulse.height_lx)), stop)
    ratio = float(pulse.calm_lx[at]) / end
    return float(pulse.time_s[stop] - pulse.time_s[at]) / math.log(ratio) if ratio > 1.0 else 0.0


def clipped_bounds(pulse: Pulse, first: int, last: int, seen_lxs: float) -> tuple[float, float]:
    """Return peak and exposure that a pulse may have had at most that clipped from sample ``first`` to ``last``.

    Both flanks are carried on exponentially until they meet.  That is exact for an exponential that starts at once, and
    too high for every pulse whose logarithm is concave (Gaussian, double exponential): an upper bound.
    """
    time, level = pulse.time_s, float(pulse.light_lx[first : last + 1].mean())
    fall = flank_constant_s(pulse, last, level, 1)
    rise = flank_constant_s(pulse, first, level, -1)
    begin, end = max(first - 1, 0), min(last + 1, time.size - 1)
    growth = float(time[end] - time[begin]) / (rise + fall) if rise + fall > 0.0 else math.inf
    if not growth < 50.0:
        return math.inf, math.inf
    under = level * float(time[last] - time[first])
    return level * math.exp(growth), seen_lxs - under + level * (rise + fall) * (math.exp(growth) - 1.0)


def flank_constant_s(pulse: Pulse, edge: int, level: float, way: int) -> float:
    """Return the time constant of the flank beside clipping, in s; 0 for an edge that the samples do not resolve."""
    outward = pulse.light_lx[edge:] if way > 0 else pulse.light_lx[: edge + 1][::-1]
    lower = np.flatnonzero(outward < 0.6 * level)
    if not lower.size:
        return 0.0
    at = int(lower[0])
    low = float(outward[at])
    if at < 2 or low <= 0.05 * level:
        return 0.0
    return abs(float(pulse.time_s[edge + way * at] - pulse.time_s[edge])) / math.log(level / low)


def in_window(result: FlashPulse, pulse: Pulse, shutter_s: float) -> FlashPulse:
    """Return the result with the exposure inside a shutter window; the rest of it stays as it is."""
    time, light = pulse.time_s, pulse.light_lx
    begin = _start_of(pulse, result)
    end = begin + shutter_s
    parts = np.concatenate(([0.0], np.cumsum(np.diff(time) * (light[1:] + light[:-1]) / 2.0)))
    inside = exposure_until(time, light, parts, end) - exposure_until(time, light, parts, begin)
    if end > float(time[-1]):
        inside += result.tail_lxs
    inside = min(max(inside, 0.0), result.total_exposure_lxs)
    share = inside / result.total_exposure_lxs if result.total_exposure_lxs > 0.0 else 0.0
    u = math.hypot(result.u_exposure_lxs * share, pulse.noise_lx * math.sqrt(shutter_s * float(np.diff(time).mean())))
    if share < 0.985:
        result = result.noted("window_keeps", share=share)
    return result._replace(exposure_lxs=inside, u_exposure_lxs=min(u, max(result.u_exposure_lxs, u * share)))


def _start_of(pulse: Pulse, result: FlashPulse) -> float:
    """Where the pulse leaves the dark: an unresolved edge, else a hundredth of the peak before the first rise."""
    dark = pulse.light_lx < max(0.01 * result.peak_lx, 2.0 * pulse.noise_lx)
    before = np.flatnonzero(dark & (pulse.time_s < result.start_s))
    if not before.size:
        return float(pulse.time_s[0])
    at = float(pulse.time_s[int(before[-1])])
    gap = result.start_s - at
    steps = np.diff(pulse.time_s)
    return result.start_s if gap <= 1.01 * float(steps[int(before[-1])]) else at
