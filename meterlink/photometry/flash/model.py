"""Short pulses read as what a flash tube gives: a fast rise and a slow decay, both exponential.

Where a pulse has few samples, the rise hides between two of them, and with it the height of the peak.  A curve through the
samples cannot tell; a pulse of two exponentials can: of all that begin and rise in any way that the samples allow, each weighed
by how well it fits, the mean is taken and the spread is the uncertainty (Bayes' rule on a grid of starts and rise times; amplitude
and decay are fitted for each).  What does not fit so within its noise is left to ``flash_shape`` and ``flash_flank``.

Light = C (exp(-t/T) - exp(-t/(s T))) from the start on; s, the rise over the decay, is 0 for a rise at once.  Before the
samples are seen, 15 % of the belief is in a rise at once, the rest spread evenly over the logarithm of s from 0.02 to 0.9 (flash
tubes take a few per cent of their decay to rise; no published source), and the start may be anywhere.
"""

from __future__ import annotations

import math
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from meterlink.photometry.flash.input import Array
from meterlink.photometry.flash.shape import MODEL_ERROR, Pulse

MOST_SAMPLES = 60
"""Samples above a tenth from which on the samples themselves show the shape."""
_LEAST_SAMPLES = 3
_S_LOW, _S_HIGH, _AT_ONCE = 0.02, 0.9, 0.15
"""What is believed of rises beforehand: least and most of s, and the part that is at once."""
_BACK = 4.0
"""Sample intervals before the first bright sample in which the pulse may have begun."""
_STARTS, _RISES, _ROUNDS = 12, 9, 3
"""Size of a grid, and how often it is drawn closer around what fits."""
_GONE = 7.0
"""Half the chi-square above the best at which a start or a rise is out of the question."""
_FAR = 0.03
"""Part of the peak that samples are off on average from which on no finer grid can make a pulse fit."""
_NOISE_ITSELF, _BENT = 1.06, 4.0
"""Uncertainties are widened by the first: the size of the noise is an estimate too; and by so many times the noise as part of the
peak: the more there is, the less the figures follow it in proportion (both by simulation)."""
_FITS = 3.0
"""Standard deviations of chi-square that a pulse of this kind may be off."""


class TwoExponentials(NamedTuple):
    """What the pulses that fit say together: mean and standard uncertainty of each figure."""

    exposure_lxs: float
    u_exposure_lxs: float
    peak_lx: float
    u_peak_lx: float
    t05_s: float
    u_t05_s: float
    t01_s: float
    u_t01_s: float
    start_s: float
    """Rise through a tenth."""
    misfit: float
    """Chi-square of the best."""
    window: tuple[int, int, int]
    """Samples that were looked at: first, the first bright one, last."""


class _Grid(NamedTuple):
    """Pulses that begin ``back_s`` before a sample, with rise over decay ``s``, amplitude and decay fitted."""

    back: Array
    """Start, in sample intervals before the first bright sample."""
    log_s: Array
    """-inf for a rise at once."""
    log_c: Array
    log_t: Array
    half_chi: Array
    covariance: Array
    """Of (log_c, log_t), three numbers each: both variances, then what they share."""
    by_ambient: Array
    """Change of (log_c, log_t) for one unit of ambient light too many."""


@cache
def _tables() -> tuple[Array, npt.NDArray[np.float64]]:
    """Return log s and, for each, peak over C, rise and fall through a half and a tenth, in units of T."""
    log_s = np.linspace(math.log(_S_LOW), math.log(_S_HIGH), 60)
    s = np.exp(log_s)
    top_at = -log_s * s / (1.0 - s)
    top = np.exp(-top_at) - np.exp(-top_at / s)
    rows = [top]
    for fraction in (0.5, 0.1):
        for low, high, up in ((np.zeros_like(s), top_at, True), (top_at, top_at + 12.0, False)):
            for _ in range(50):
                middle = (low + high) / 2.0
                above = np.exp(-middle) - np.exp(-middle / s) > fraction * top
                low, high = np.where(above == up, low, middle), np.where(above == up, middle, high)
            rows.append((low + high) / 2.0)
    return log_s, np.stack(rows)


def _shape_of(log_s: Array) -> list[Array]:
    """Return the rows of ``_tables`` at each log s; of a rise at once where it is -inf."""
    known, rows = _tables()
    at_once = np.isneginf(log_s)
    limits = (1.0, 0.0, math.log(2.0), 0.0, math.log(10.0))
    return [np.where(at_once, limit, np.interp(log_s, known, row)) for limit, row in zip(limits, rows, strict=True)]


def read(pulse: Pulse, last: int, u_ambient_lx: float, hidden: tuple[int, int] | None = None) -> TwoExponentials | None:
    """Return what a pulse that ends at sample ``last`` is as two exponentials; None when it is long enough, or none.

    ``u_ambient_lx``: standard uncertainty of the level that was subtracted.  ``hidden``: first and last sample of which is
    known only that the light was at least as high as they are.
    """
    window = _window(pulse, last)
    if window is None:
        return None
    first, bright, end = window
    gap = float(pulse.time_s[bright + 1] - pulse.time_s[bright])
    time = (pulse.time_s[first : end + 1] - pulse.time_s[bright]) / gap
    sigma = math.hypot(pulse.noise_lx, MODEL_ERROR * pulse.height_lx)
    light = pulse.light_lx[first : end + 1] / sigma
    if hidden is None:
        grid, weight = _grids(time, light, (end - bright) / 4.5)
    else:
        place = np.arange(first, end + 1)
        seen = (place < hidden[0]) | (place > hidden[1])
        if np.count_nonzero(seen) < 5:
            return None
        grid, weight = _not_below(*_grids(time[seen], light[seen], (end - bright) / 4.5), time[~seen], light[~seen])
        time = time[seen]
    freedom = time.size - 4
    least = 2.0 * float(grid.half_chi.min())
    if freedom < 1 or least > freedom + _FITS * math.sqrt(2.0 * freedom):
        return None
    return _figures(grid, weight, (sigma, gap, float(pulse.time_s[bright])), u_ambient_lx / sigma, window)


def _window(pulse: Pulse, last: int) -> tuple[int, int, int] | None:
    """Return the samples that are looked at: first, the first bright one, last."""
    light = pulse.light_lx
    top = int(np.argmax(light))
    threshold = max(4.0 * pulse.noise_lx, 0.03 * pulse.height_lx)
    dark = np.flatnonzero(light[: top + 1] <= threshold)
    if not dark.size:
        return None
    bright = int(dark[-1]) + 1
    above = int(np.count_nonzero(light[bright:] > 0.1 * pulse.height_lx))
    end = min(bright + math.ceil(1.9 * above), last)
    first = bright - math.ceil(_BACK) - 1
    if not _LEAST_SAMPLES <= above <= MOST_SAMPLES or first < 0 or end - bright < _LEAST_SAMPLES:
        return None
    return first, bright, end


def _grids(time: Array, light: Array, decay: float) -> tuple[_Grid, Array]:
    """Return the grid of all pulses that may be, finest where they fit, and the weight of each (together 1)."""
    log_t = np.full(_STARTS, math.log(decay))
    at_once = _fit(time, light, (np.arange(_STARTS) + 0.5) / _STARTS, np.full(_STARTS, -math.inf), log_t)
    low, high = 0.0, _BACK
    for _ in range(_ROUNDS):
        step = (high - low) / _STARTS
        smooth, log_step = _risen(time, light, np.linspace(low + step / 2.0, high - step / 2.0, _STARTS), log_t)
        near = smooth.half_chi < float(smooth.half_chi.min()) + _GONE
        narrow = np.count_nonzero(near.reshape(_STARTS, -1).any(axis=1)) < _STARTS // 3
        # a start that is half a step off leaves one sample off by as much of a fast rise
        top, off = float(light.max()), 2.0 * float(smooth.half_chi.min())
        # a finer grid brings nothing where all that fits is seen already, or where nothing comes near
        if not narrow or off > light.size * (2.0 + (_FAR * top) ** 2) + (step * top) ** 2:
            break
        low = max(float(smooth.back[near].min()) - step, 0.0)
        high = min(float(smooth.back[near].max()) + step, _BACK)
    grid = _Grid(*(np.concatenate((a, b), axis=-1) for a, b in zip(at_once, smooth, strict=True)))
    cell = (1.0 - _AT_ONCE) * step / _BACK / math.log(_S_HIGH / _S_LOW)
    prior = np.concatenate((np.full(_STARTS, _AT_ONCE / _STARTS / _BACK), cell * log_step))
    spread = grid.covariance[0] * grid.covariance[1] - grid.covariance[2] ** 2
    weight = prior * np.sqrt(np.maximum(spread, 0.0)) * np.exp(float(grid.half_chi.min()) - grid.half_chi)
    return grid, weight / weight.sum()


def _not_below(grid: _Grid, weight: Array, time: Array, light: Array) -> tuple[_Grid, Array]:
    """Return the grid and its weights when the light was at least this high at these times."""
    x = np.maximum(time + grid.back[:, None], 0.0) * np.exp(-grid.log_t)[:, None]
    fast = np.minimum(x * np.exp(np.minimum(-grid.log_s, 20.0))[:, None], 50.0)
    short = np.maximum(light - np.exp(grid.log_c)[:, None] * (np.exp(-x) - np.exp(-fast)), 0.0)
    more = 0.5 * _dot(short, short)
    weight = weight * np.exp(float(more.min()) - more)
    return grid._replace(half_chi=grid.half_chi + more), weight / max(float(weight.sum()), 1e-300)


def _risen(time: Array, light: Array, starts: Array, log_t: Array) -> tuple[_Grid, Array]:
    """Return pulses with these starts, each with rises around the one that fits it best, and the steps between their log s."""
    low, high = np.full(starts.size, math.log(_S_LOW)), np.full(starts.size, math.log(_S_HIGH))
    for turn in range(_ROUNDS):
        step = (high - low) / _RISES
        log_s = low[:, None] + (np.arange(_RISES) + 0.5) * step[:, None]
        grid = _fit(time, light, np.repeat(starts, _RISES), log_s.ravel(), np.repeat(log_t, _RISES), 6 if turn == 0 else 3)
        half_chi = grid.half_chi.reshape(starts.size, -1)
        log_t = grid.log_t.reshape(starts.size, -1)[np.arange(starts.size), half_chi.argmin(axis=1)]
        near = half_chi < half_chi.min(axis=1)[:, None] + _GONE
        low = np.maximum(np.where(near, log_s, math.inf).min(axis=1) - step, math.log(_S_LOW))
        high = np.minimum(np.where(near, log_s, -math.inf).max(axis=1) + step, math.log(_S_HIGH))
    return grid, np.repeat(step, _RISES)


def _fit(time: Array, light: Array, back: Array, log_s: Array, log_t: Array, steps: int = 6) -> _Grid:
    """Fit amplitude and decay of each pulse by Gauss-Newton; light in units of its noise, time in sample intervals."""
    # before the start both exponentials are 1; a rise at once is one within a billionth
    ratio = np.exp(np.minimum(-log_s, 20.0))[:, None]
    since = np.maximum(time + back[:, None], 0.0)
    log_c = np.zeros(back.size)
    for step in range(steps):
        x = since * np.exp(-log_t)[:, None]
        fast_x = np.minimum(x * ratio, 50.0)
        slow, fast = np.exp(-x), np.exp(-fast_x)
        shape, later = slow - fast, x * slow - fast_x * fast
        # sums over the samples of shape and slope of unit height: the amplitude goes into the sums
        aa, bb, ab = _dot(shape, shape), _dot(later, later), _dot(shape, later)
        of_c, of_t = shape @ light, later @ light
        if step == 0:
            log_c = np.log(np.maximum(of_c / np.maximum(aa, 1e-9), 1e-3))
        height = np.exp(log_c)
        a, b, c = (height * height * one for one in (aa, bb, ab))
        det = np.maximum(a * b - c * c, 1e-9 * a * b + 1e-9)
        if step == steps - 1:
            break
        for_c, for_t = height * of_c - a, height * of_t - c
        log_c = log_c + np.clip((b * for_c - c * for_t) / det, -0.7, 0.7)
        log_t = np.clip(log_t + np.clip((a * for_t - c * for_c) / det, -0.7, 0.7), -2.0, 8.0)
    rest = light - height[:, None] * shape
    by_c, by_t = height * shape.sum(axis=1), height * later.sum(axis=1)
    by_ambient = np.stack(((b * by_c - c * by_t) / det, (a * by_t - c * by_c) / det))
    return _Grid(back, log_s, log_c, log_t, 0.5 * _dot(rest, rest), np.stack((b / det, a / det, -c / det)), by_ambient)


def _dot(left: Array, right: Array) -> Array:
    """Return the sum of products of each row."""
    return np.asarray(np.einsum("ij,ij->i", left, right))


def _figures(
    grid: _Grid, weight: Array, units: tuple[float, float, float], u_ambient: float, window: tuple[int, int, int]
) -> TwoExponentials:
    """Return mean and spread of each figure; ``units``: noise in lx, sample interval in s, time of the bright sample."""
    sigma, gap, moment = units
    top, *edges = _shape_of(grid.log_s)
    amplitude, decay = np.exp(grid.log_c) * sigma, np.exp(grid.log_t) * gap
    variances = grid.covariance
    widened = _NOISE_ITSELF + _BENT * float(1.0 / (np.exp(grid.log_c) * top)[weight.argmax()])
    ambients = grid.by_ambient * u_ambient

    def told(values: Array, by_c: float, by_t: float) -> tuple[float, float]:
        mean = float((weight * values).sum())
        inside = by_c * variances[0] + by_t * variances[1] + 2.0 * by_c * by_t * variances[2]
        inside = inside + (by_c * ambients[0] + by_t * ambients[1]) ** 2
        return mean, widened * math.sqrt(float((weight * ((values - mean) ** 2 + values**2 * inside)).sum()))

    begin = moment - grid.back * gap
    return TwoExponentials(
        *told(amplitude * decay * (1.0 - np.exp(grid.log_s)), 1.0, 1.0),
        *told(amplitude * top, 1.0, 0.0),
        *told(decay * (edges[1] - edges[0]), 0.0, 1.0),
        *told(decay * (edges[3] - edges[2]), 0.0, 1.0),
        start_s=float((weight * (begin + decay * edges[2])).sum()),
        misfit=2.0 * float(grid.half_chi.min()),
        window=window,
    )
