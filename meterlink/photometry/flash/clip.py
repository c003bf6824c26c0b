"""Pops that clipped: where, and bounds instead of numbers.

A converter clips at its full scale; an amplifier may stop below it, and then no code says so but the shape does: a flash
tube's top is round or a point, a flat top between a steep rise and a slow fall is an amplifier's.
"""

from __future__ import annotations

import math

import numpy as np

from meterlink.photometry.flash import corner as flash_corner
from meterlink.photometry.flash import exposure as flash_exposure
from meterlink.photometry.flash import fit as flash_fit
from meterlink.photometry.flash import flank as flash_flank
from meterlink.photometry.flash.ambient import Ambient
from meterlink.photometry.flash.input import Array, Thinned, Trace, runs_of
from meterlink.photometry.flash.pulse import FlashPulse
from meterlink.photometry.flash.shape import Peak, Pulse


def clipped_samples(thinned: Thinned, pulse: Pulse, first: int, last: int) -> tuple[int, int] | None:
    """Return first and last clipped sample between two, or None; looked for in the record as it was given."""
    found = _clipped(thinned.raw, pulse, thinned.raw_place(first), thinned.raw_place(last))
    return None if found is None else (max(thinned.place(found[0]), first), min(thinned.place(found[1]), last))


def _clipped(trace: Trace, pulse: Pulse, first: int, last: int) -> tuple[int, int] | None:
    light = trace.light_lx[: last + 1]
    if trace.full_scale_lx is not None:
        at = first + np.flatnonzero(light[first:] >= trace.full_scale_lx * (1.0 - 1e-9))
        return (int(at[0]), int(at[-1])) if at.size else None
    top = runs_of(light[first:] == light[first:].max())
    run = max(after - begin + 1 for begin, after in top)
    # without noise a flat top is a flat top; under noise no light repeats one and the same highest value
    grainy = pulse.noise_lx > 0.6 * trace.quantum_lx if trace.quantum_lx else pulse.noise_lx > 1e-6 * pulse.height_lx
    return (first + top[0][0], first + top[-1][1]) if grainy and run >= (5 if trace.quantum_lx else 3) else None


_NEAR_TOP = 0.9
"""Above this part of the converter's range a flat top is taken for the amplifier's whatever follows it: a lamp whose light is
flat by itself is taken again on the wider range and loses nothing."""
_LEAST_CEILING = 0.4
"""An amplifier lives on the converter's supply and stops near its end, never below this part of the range; the coarse steps of a
small pop look flat."""
_LIKELY_CEILING = 0.7
"""Where only a doubt is left, none is raised below this: an amplifier that does not reach its supply of 5 V stops within 1.5 V of
it (common practice, no published source)."""
_SQUARE = 0.7
"""A flat part of at least this part of the width at half: no round top has one."""
_LEAST_FLAT, _LEAST_PART = 3, 0.18
"""Samples of a flat top, and their part of the width at half; what is flat for less has lost less than 0.02 stop."""
_SURE, _SURE_NEAR = 8.0, 2.0
"""Half the difference in chi-square from which on a corner is told from a rounded top; near the end of the range less will do."""
_SLOW_FALL = 0.21
"""A flash tube falls from 0.9 to 0.5 of its top in no less than this part of the flat top, 9 times overloaded; a flash that is cut
off, or a square pulse of a lamp without a tube, is sooner there."""
_FLAT_ERROR = 0.002
"""By how much of itself the level of an amplifier that has stopped may move."""
_FEW = 20
"""So few samples above a tenth do not show whether a top is round."""
_CORNERS = 24
"""So many places of the corner are tried, then as many around the best."""


def flat_top(pulse: Pulse, first: int, last: int, range_lx: float | None) -> tuple[int, int] | None:
    """Return first and last sample of a top that is flat within noise where a flash tube's is not; None when it is round.

    ``range_lx``: full scale of the converter above the ambient level.
    """
    light, level = pulse.light_lx[first : last + 1], pulse.height_lx
    if range_lx is not None and level < _LEAST_CEILING * range_lx:
        return None
    sigma = math.hypot(pulse.noise_lx, _FLAT_ERROR * level)
    flat, wide, half = (_around_top(light, bound) for bound in (level - 3.5 * sigma, 0.9 * level, 0.5 * level))
    width = half[1] - half[0] + 1
    if flat[1] - flat[0] + 1 < max(_LEAST_FLAT, _LEAST_PART * width):
        return None
    near = range_lx is not None and level > _NEAR_TOP * range_lx
    if near and flat[1] - flat[0] + 1 >= _SQUARE * width:
        return first + flat[0], first + flat[1]
    begin = wide[0] + int(np.argmax(light[wide[0] : wide[1] + 1] > level - 2.0 * sigma))
    below = np.flatnonzero(light[wide[1] :] < 0.6 * level)
    top = light[begin : wide[1] + int(below[0])] if below.size else light[begin:]
    if top.size < 2 * _LEAST_FLAT:
        return None
    at, misfit = _corner(top, sigma)
    allowed = top.size - 3 + 2.5 * math.sqrt(2.0 * (top.size - 3)) + 1.0
    if at < _LEAST_PART * width or 2.0 * misfit > allowed or misfit + (_SURE_NEAR if near else _SURE) > _rounded(top, sigma):
        return None
    after = light[begin + at // 2 : half[1] + 1]
    fall = after.size - int(np.count_nonzero(after > 0.9 * level))
    return (first + begin, first + begin + at - 1) if near or fall > max(1.0, _SLOW_FALL * at) else None


def may_have_stopped(pulse: Pulse, extent: tuple[int, int], range_lx: float | None) -> tuple[int, int] | None:
    """Return first and last sample of the top of a short pop where an amplifier may have stopped; None where it has not.

    ``range_lx``: full scale of the converter above the ambient level.
    """
    light, level = pulse.light_lx[extent[0] : extent[1] + 1], pulse.height_lx
    if range_lx is None or level < _LIKELY_CEILING * range_lx:
        return None
    flat = _around_top(light, float(light.max()) - 3.5 * math.hypot(pulse.noise_lx, _FLAT_ERROR * level))
    return extent[0] + flat[0], extent[0] + flat[1]


def if_stopped(result: FlashPulse, pulse: Pulse, extent: tuple[int, int], top: tuple[int, int]) -> FlashPulse:
    """Return a pop that no model fits with what it lacks, if its amplifier stopped, in the uncertainty of its exposure.

    ``top``: first and last sample at its highest; its flanks are carried on beyond them.
    """
    level, (begin, end) = pulse.height_lx, top
    if begin == end:
        return result
    falling = pulse.light_lx[end : extent[0] + _around_top(pulse.light_lx[extent[0] :], 0.5 * level)[1] + 1]
    if result.sample_count > _FEW or int(np.count_nonzero(falling < 0.9 * level)) < 1:
        return result
    constant_s = flash_exposure.flank_constant_s(pulse, end, level, 1) + flash_exposure.flank_constant_s(pulse, begin, level, -1)
    gap_s = float(pulse.time_s[end] - pulse.time_s[begin]) / (end - begin)
    if constant_s <= gap_s or not flash_corner.falls_so(pulse, begin, extent[1]):
        return result
    # it was flat for at most one interval more than is seen
    growth = (end - begin + 2) * gap_s / constant_s
    missing = level * constant_s * (math.exp(min(growth, 3.0)) - 1.0 - growth)
    return result._replace(u_exposure_lxs=math.hypot(result.u_exposure_lxs, missing / math.sqrt(3.0))).noted("may_have_stopped")


def _around_top(light: Array, level_lx: float) -> tuple[int, int]:
    """Return first and last of the longest stretch above a level, single samples below it passed over."""
    above = np.flatnonzero(light >= level_lx)
    if not above.size:
        return 0, -1
    longest = max(np.split(above, np.flatnonzero(np.diff(above) > 2) + 1), key=len)
    return int(longest[0]), int(longest[-1])


def _corner(top: Array, sigma: float) -> tuple[int, float]:
    """Return the best of all corners and half its chi-square: one level before it, an exponential decay after it."""
    tried: dict[int, float] = {}
    low, high = _LEAST_FLAT, top.size - 2
    for _ in range(2):
        for at in np.unique(np.linspace(low, high, _CORNERS).astype(int)).tolist():
            tried[at] = _misfit_of_corner(top, at, sigma)
        best = min(tried, key=lambda at: tried[at])
        step = (high - low) // _CORNERS + 1
        low, high = max(best - step, _LEAST_FLAT), min(best + step, top.size - 2)
    return best, tried[best]


def _misfit_of_corner(top: Array, at: int, sigma: float) -> float:
    flat, fall = top[:at], top[at:]
    spread = max(float(flat.var(ddof=1)), (_FLAT_ERROR * float(flat[0])) ** 2) / sigma**2
    # an amplifier that has stopped does not pass on the noise that comes to it: a calmer top fits better
    by_flat = (at - 1) * (spread if spread > 1.0 else 1.0 + math.log(spread))
    x = np.linspace(0.0, 1.0, fall.size)
    powers = flash_fit.powers_of(x, 3)
    safe = np.maximum(fall, 0.05 * float(top.max()))
    return 0.5 * (by_flat + flash_fit.polynomial(powers, np.log(safe), safe / sigma, 2).misfit)


def _rounded(top: Array, sigma: float) -> float:
    """Return half the chi-square of the best round top: a polynomial in the logarithm, or the fourth power of the distance."""
    x = np.linspace(-1.0, 1.0, top.size)
    safe = np.maximum(top, 0.05 * float(top.max()))
    weight = safe / sigma
    designs = [np.stack([x**k for k in range(4 if top.size > 6 else 3)], axis=1)]
    designs += [np.stack([np.ones_like(x), (x - centre) ** 4], axis=1) for centre in (-1.0, -0.5, 0.0)]
    misfits = []
    for design in designs:
        coefficients = np.linalg.lstsq(design * weight[:, None], np.log(safe) * weight, rcond=None)[0]
        misfits.append(0.5 * float((((np.log(safe) - design @ coefficients) * weight) ** 2).sum()))
    return min(misfits)


def with_clipping(result: FlashPulse, pulse: Pulse, clip: tuple[int, int], ambient: Ambient) -> FlashPulse:
    """Return the result with bounds and a note; the uncertainties hold a flat chance between them."""
    high_lx, high_lxs = flash_exposure.clipped_bounds(pulse, clip[0], clip[1], result.exposure_lxs)

    def least_s(fraction: float) -> float:
        if not fraction * high_lx < result.peak_lx:
            return 0.0
        return flash_flank.duration(pulse, Peak(high_lx, 0.0), fraction, ambient.u_lx).time_s

    def widened(u: float | None, low: float, high: float) -> float:
        return math.hypot(u or 0.0, (high - low) / math.sqrt(3.0))

    t05, t01 = (least_s(0.5), result.t05_s or 0.0), (least_s(0.1), result.t01_s or 0.0)
    return result._replace(
        clipped=True,
        exposure_bounds_lxs=(result.exposure_lxs, high_lxs),
        peak_bounds_lx=(result.peak_lx, high_lx),
        t05_bounds_s=t05,
        t01_bounds_s=t01,
        u_exposure_lxs=widened(result.u_exposure_lxs, result.exposure_lxs, high_lxs),
        u_peak_lx=widened(result.u_peak_lx, result.peak_lx, high_lx),
        u_t05_s=widened(result.u_t05_s, *t05),
        u_t01_s=widened(result.u_t01_s, *t01),
    ).noted("bounds_only")
