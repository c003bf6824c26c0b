"""A flash that is cut off softly: where its light passes a level near the corner, where a smooth curve would be drawn aside.

Light falls slowly until it is cut off, then fast: exp(-b (t - c)) until the corner c, exp(-k (t - c)) after it.  Of all corners and
fast decays each is weighed by how well it fits (Bayes' rule on a grid, drawn closer around what fits; the slow part is fitted for
each), and with them the level, which is as uncertain as the peak: just above the corner it is passed early, just below it late.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from meterlink.photometry.flash import fit as flash_fit
from meterlink.photometry.flash.between import Crossing
from meterlink.photometry.flash.input import Array
from meterlink.photometry.flash.shape import MODEL_ERROR, Pulse

NORMAL = np.array([-1.870, -1.178, -0.829, -0.559, -0.325, -0.107, 0.107, 0.325, 0.559, 0.829, 1.178, 1.870])
"""Means of twelve equally likely parts of a normal distribution, of standard deviation 1."""
_SPREADS = (0.4, 0.2)
"""The slow part is fitted up to exp(0.4) times the level, nearer by when that does not fit ..."""
_LEAST = 5
"""... over so many samples at least."""
_LOW, _BEYOND = 0.5, 2
"""The fast part is fitted down to this part of the level, and so many samples further."""
_CORNERS, _RATES, _ROUNDS = 20, 12, 4
"""Size of the grid, and how often it is drawn closer."""
_FASTEST = 20.0
"""Decays a sample interval: gone at once."""
_STEEPER = 2.0
"""A corner at which the light does not fall so many times faster is a bend."""
_GONE = 7.0
"""Half the chi-square above the best at which a corner is out of the question."""
_MOST = 80
"""Samples of the flank beyond which neighbours are averaged."""
_UNLIKELY = 0.02
"""A corner less likely than this is not looked at closely."""
_TRIED, _STEPS = (0.1, 0.3), 25
"""Where in a whole pulse a corner is looked for first, as part of it, and steps of its fit."""
_RARER, _FEW, _LEAST_RARE = 5.0, 18.0, 3.5
"""A pulse that is cut off has to fit better (in chi-square) than two exponentials to be as likely: the more samples there are,
the likelier a corner fits by chance (by simulation)."""
_CHOICE = 1.2
"""Uncertainties are widened by this: the window is chosen by the same noisy data (by simulation)."""


class _Slow(NamedTuple):
    """Straight lines through the logarithm of the light before each corner: at the corner, and their fall."""

    value: Array
    fall: Array
    variances: tuple[Array, Array, Array]
    """Of value and fall, and what they share."""
    half_chi: Array
    log_size: Array
    """Half the logarithm of the determinant of that covariance."""


class _Flank(NamedTuple):
    """Samples around a level: time in sample intervals, light in levels, with its noise."""

    x: Array
    y: Array
    sigma: float
    fall: float
    """What the slow part may fall an interval, beforehand: the mean and the standard deviation of that belief."""


def corner(pulse: Pulse, index: int, level_lx: float, u_level_lx: float, limits: tuple[int, int]) -> tuple[Crossing, float] | None:
    """Return where a falling flank with a corner passes a level and how likely there is one; None where none fits.

    ``index``: last sample above the level; ``limits``: samples that belong to the flank.
    """
    for spread in _SPREADS:
        flank, gap, origin = _flank(pulse, index, level_lx, limits, spread)
        if flank.x.size < 5:
            return None
        smooth = _smooth_score(flank)
        corners, rates = (1.0, float(flank.x[-1])), (math.log(0.5 / flank.x.size), math.log(_FASTEST))
        for step in range(_ROUNDS):
            at, log_k, slow, half_chi, weight = _weighed(flank, corners, rates)
            best = 2.0 * float(half_chi.min())
            if step == 0 and _likely(smooth, best - 4.0, flank.x.size) < _UNLIKELY:
                return None
            near = weight > math.exp(-_GONE) * float(weight.max())
            corners = _around(at, np.asarray(near.any(axis=1)), (0.5, float(flank.x[-1])))
            rates = _around(log_k, np.asarray(near.any(axis=0)), rates)
        freedom = max(flank.x.size - 4, 1)
        if best <= freedom + 2.5 * math.sqrt(2.0 * freedom) + 1.0:
            place, u, inverse = _passes(at, np.exp(log_k), slow, weight, u_level_lx / level_lx)
            found = Crossing(origin + place * gap, u * gap, level_lx / (inverse * gap), False)
            return found, _likely(smooth, best, flank.x.size)
    return None


def beside(smooth: Crossing, found: tuple[Crossing, float] | None) -> Crossing:
    """Return the crossing when there is a corner with the likelihood found, and a smooth curve else: mean and spread over both."""
    if found is None:
        return smooth
    sharp, part = found
    time_s, u_s = flash_fit.mixed([(part, sharp.time_s, sharp.u_s), (1.0 - part, smooth.time_s, smooth.u_s)])
    slope = 1.0 / (part / sharp.slope_lx_s + (1.0 - part) / smooth.slope_lx_s)
    return Crossing(time_s, u_s, slope, False, part)


def instead(pulse: Pulse, window: tuple[int, int, int], misfit: float) -> float:
    """How likely a pulse rises at once and is cut off softly, where two exponentials leave ``misfit`` (chi-square).

    ``window``: first sample that is looked at, first bright one, last.
    """
    first, bright, end = window
    height = pulse.height_lx
    sigma = math.hypot(pulse.noise_lx, MODEL_ERROR * height) / height
    light = pulse.light_lx[first : end + 1] / height
    y = light[bright - first :]
    dark = float((light[: bright - first] ** 2).sum()) / sigma**2
    best = min(_fitted(np.arange(y.size, dtype=np.float64), y, sigma, at * y.size)[0] for at in _TRIED)
    return likelihood(dark + best - misfit, y.size)


def likelihood(more: float, samples: int) -> float:
    """How likely a pulse is cut off that leaves so much ``more`` chi-square than two exponentials."""
    return flash_fit.chance(more + max(_RARER * math.log(samples / _FEW), _LEAST_RARE))


def falls_so(pulse: Pulse, first: int, last: int) -> bool:
    """Say whether the light from one sample to another stays and then decays, within noise."""
    y = pulse.light_lx[first : last + 1] / pulse.height_lx
    freedom = y.size - 4
    if freedom < 1:
        return False
    x, sigma = np.arange(y.size, dtype=np.float64), math.hypot(pulse.noise_lx / pulse.height_lx, 2.0 * MODEL_ERROR)
    return min(_fitted(x, y, sigma, at * y.size)[0] for at in _TRIED) <= freedom + 3.0 * math.sqrt(2.0 * freedom)


def last_before(pulse: Pulse, last: int) -> int:
    """Return the last sample before the corner of a flash that is cut off softly, by the slow and fast decay that fit best."""
    top = int(np.argmax(pulse.light_lx))
    y = pulse.light_lx[top : last + 1] / pulse.height_lx
    if y.size < 6:
        return top
    x, sigma = np.arange(y.size, dtype=np.float64), max(pulse.noise_lx / pulse.height_lx, MODEL_ERROR)
    return top + int(min(_fitted(x, y, sigma, at * y.size) for at in _TRIED)[1])


def _fitted(x: Array, y: Array, sigma: float, at: float) -> tuple[float, float]:
    """Return the least chi-square of a slow and then fast decay, begun with a corner there, and its corner.

    Levenberg and Marquardt's way.
    """
    top = max(float(y[: max(int(at), 1)].mean()), 0.05)
    p: Array = np.array([math.log(top), 0.1 / x.size, at, math.log(4.0 / x.size)])
    damping, best = 1e-2, math.inf
    step: Array = np.zeros(4)
    slopes, square, down = np.empty((4, x.size)), np.zeros((4, 4)), np.zeros(4)
    for _ in range(_STEPS):
        tried = p + step
        height, fall, corner, log_rate = tried.tolist()
        tried[1:] = fall, corner, log_rate = max(fall, 0.0), min(max(corner, 0.5), x[-1]), min(max(log_rate, -6.0), 3.0)
        rate, before = math.exp(log_rate), np.minimum(x, corner)
        since = x - before
        model = np.exp(np.minimum(np.maximum(height - fall * before - rate * since, -50.0), 5.0))
        misfit = float((y - model) @ (y - model)) / sigma**2
        if misfit < best:
            closer = best - misfit
            p, best, damping = tried, misfit, damping / 5.0
            slopes[0], slopes[1] = model, -before * model
            slopes[2], slopes[3] = (rate - fall) * (since > 0.0) * model, -rate * since * model
            square, down = slopes @ slopes.T, slopes @ (y - model)
            if closer < 0.01:
                break
        else:
            damping *= 5.0
        damped = square.copy()
        damped.flat[::5] += damping * (square.flat[::5] + 1e-12)
        step = np.asarray(np.linalg.solve(damped, down), dtype=np.float64)
    return best, float(p[2])


def _likely(smooth: float, misfit: float, size: int) -> float:
    """How likely a corner is beside a smooth curve, by Akaike's weights: it has four parameters, and may be at any sample."""
    return flash_fit.chance(misfit + 8.0 + 2.0 * math.log(size / 5.0) - smooth)


def _flank(pulse: Pulse, index: int, level_lx: float, limits: tuple[int, int], spread: float) -> tuple[_Flank, float, float]:
    """Return the samples around the level, the interval in s and the time of the first."""
    high = np.flatnonzero(pulse.calm_lx[limits[0] : index + 1] > level_lx * math.exp(spread))
    first = limits[0] + int(high[-1]) + 1 if high.size else limits[0]
    first = max(min(first, index - _LEAST), limits[0])
    low = np.flatnonzero(pulse.calm_lx[index : limits[1] + 1] < _LOW * level_lx)
    last = min(index + int(low[0]) + _BEYOND if low.size else limits[1], limits[1])
    time, light = pulse.time_s[first : last + 1], pulse.light_lx[first : last + 1] / level_lx
    sigma = math.hypot(pulse.noise_lx, MODEL_ERROR * pulse.height_lx) / level_lx
    block = max(1, light.size // _MOST)
    count = light.size // block * block
    time, light = (row[:count].reshape(-1, block).mean(axis=1) for row in (time, light))
    gap = (float(time[-1] - time[0]) or 1.0) / max(time.size - 1, 1)
    above = int(np.count_nonzero(pulse.calm_lx > level_lx)) / block
    return _Flank((time - time[0]) / gap, light, sigma / math.sqrt(block), 0.35 / max(above, 1.0)), gap, float(time[0])


def _smooth_score(flank: _Flank) -> float:
    """Return the least chi-square of a line, an exponential and one with a bend, with two for each of their parameters."""
    x = flank.x / float(flank.x[-1]) - 0.5
    powers = flash_fit.powers_of(x, 5)
    fits = [(2, flash_fit.polynomial(powers, flank.y, None, 2).misfit)]
    fits += [(size, flash_fit.exponential(powers, flank.y, size).misfit) for size in (2, 3)]
    return min(misfit / flank.sigma**2 + 2.0 * size for size, misfit in fits)


def _weighed(flank: _Flank, corners: tuple[float, float], rates: tuple[float, float]) -> tuple[Array, Array, _Slow, Array, Array]:
    """Return corners, logarithms of rates, the slow part of each, and half of chi-square and weight of each pair."""
    at, log_k = np.linspace(*corners, _CORNERS), np.linspace(*rates, _RATES)
    slow = _slow(flank, at)
    since = np.maximum(flank.x - at[:, None], 0.0)
    rate = np.exp(log_k)
    # In place: these are a pop's largest arrays, and memory that is asked for anew takes longer than the sums.
    model = -rate[:, None] * since[:, None, :]
    np.exp(model, out=model)
    model *= np.exp(np.clip(slow.value, -5.0, 5.0))[:, None, None]
    # what the slow part leaves open of the corner's height the fast one shares
    variance = np.square(model)
    variance *= slow.variances[0][:, None, None] / flank.sigma**2
    variance += 1.0
    rest = np.subtract(flank.y, model, out=model)
    rest /= flank.sigma
    rest *= rest
    rest /= variance
    rest += np.log(variance, out=variance)
    rest *= since[:, None, :] > 0.0
    half_chi = slow.half_chi[:, None] + 0.5 * rest.sum(axis=2)
    half_chi = np.where(rate > _STEEPER * slow.fall[:, None], half_chi, half_chi + 50.0)
    log_weight = slow.log_size[:, None] - half_chi
    return at, log_k, slow, half_chi, np.exp(log_weight - float(log_weight.max()))


def _slow(flank: _Flank, at: Array) -> _Slow:
    """Fit the slow part before each corner by running sums; what it may fall is believed to be like the rest of the pulse."""
    safe = np.maximum(flank.y, 0.05)
    squared, target = (safe / flank.sigma) ** 2, np.log(safe)
    by_target = squared * target
    rows = np.stack([squared, squared * flank.x, squared * flank.x**2, by_target, by_target * flank.x, by_target * target])
    sums = np.concatenate((np.zeros((6, 1)), np.cumsum(rows, axis=1)), axis=1)[:, np.searchsorted(flank.x, at, side="right")]
    n, sx, sxx, sy, sxy, syy = sums
    # times count from the corner backwards; ridge: one more observation of the fall
    sxx, sxy, sx = sxx - 2 * at * sx + at**2 * n, sxy - at * sy, sx - at * n
    ridge = (2.0 * flank.fall) ** -2
    sxx, sxy, syy = sxx + ridge, sxy - ridge * flank.fall, syy + ridge * flank.fall**2
    det = np.maximum(n * sxx - sx * sx, 1e-12)
    value, slope = (sxx * sy - sx * sxy) / det, (n * sxy - sx * sy) / det
    half_chi = 0.5 * np.maximum(syy - value * sy - slope * sxy, 0.0)
    return _Slow(value, np.maximum(-slope, 1e-6), (sxx / det, n / det, -sx / det), half_chi, -0.5 * np.log(det))


def _around(places: Array, near: npt.NDArray[np.bool_], limits: tuple[float, float]) -> tuple[float, float]:
    """Return the stretch of the places that are near, with one step more on both sides."""
    at, step = places[near], places[1] - places[0]
    return max(float(at[0] - step), limits[0]), min(float(at[-1] + step), limits[1])


def _passes(at: Array, rate: Array, slow: _Slow, weight: Array, u_level: float) -> tuple[float, float, float]:
    """Return mean and spread of the place where the level is passed, and how it moves with the logarithm of the level."""
    mean_fall = slow.fall
    early = np.minimum(slow.value / mean_fall, 0.0)
    of_value, of_fall, shared = slow.variances
    spread = np.sqrt(u_level**2 + np.maximum(of_value - 2.0 * early * shared + early**2 * of_fall, 0.0))
    left = slow.value[:, None] + spread[:, None] * NORMAL
    on_slow = left <= 0.0
    slow_place = at[:, None] + np.maximum(left, -8.0) / mean_fall[:, None]
    place = np.where(on_slow[:, None, :], slow_place[:, None, :], at[:, None, None] + left[:, None, :] / rate[None, :, None])
    by_level = np.where(on_slow[:, None, :], 1.0 / mean_fall[:, None, None], 1.0 / rate[None, :, None])
    w = weight[:, :, None] / (float(weight.sum()) * NORMAL.size)
    mean, inverse = float((w * place).sum()), float((w * by_level).sum())
    variance = float((w * (place - mean) ** 2).sum())
    # the part that hangs on the level in proportion is told by the slope
    own = max(variance - (inverse * u_level) ** 2, 0.04 * variance)
    return mean, _CHOICE * math.sqrt(own), inverse
