"""Where a flank of a pulse passes a level, unbiased by noise and finer than the sample interval: see ``flash_shape``."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from meterlink.photometry.flash import fit as flash_fit
from meterlink.photometry.flash.between import Crossing, between
from meterlink.photometry.flash.corner import NORMAL, beside, corner
from meterlink.photometry.flash.input import smooth
from meterlink.photometry.flash.shape import MODEL_ERROR, Peak, Pulse, part_of, runs_above

_FLANK_SPREADS = (0.55, 0.3, 0.15, 0.08)
"""A flank is fitted between exp(-0.55) and exp(0.55) times the level, nearer by when that does not fit."""
_WIDE_SPREAD, _NOISY = 1.1, 0.3
"""Where noise is more than 0.3 of the level, twice as far: few samples near to it tell little."""
_MANY = 24
"""Samples on a flank from which on a nearer fit is asked as well."""
_LOST = 0.35
"""A shape that places the crossing worse than to this part of the fitted stretch tells nothing."""
_SAME_MOMENT = 0.2
"""Standard uncertainty, in sample intervals, of an edge that may be the crossing itself (by simulation)."""
_CUT_RISE, _CUT_RISE_GAPS = 1.7, 0.12
"""A pulse that is cut off shows half of its top and of its flanks: what is read off its rise and its peak is less sure by this
factor and this part of a sample interval (by simulation)."""
_SOFT_CUT = 1.25
"""The same factor where it is cut off softly, and all is (by simulation)."""
_NOISY_FEW, _FEW = 4.0, 20.0
"""Few samples are less sure by so many times the noise as part of the peak, fully up to twenty of them (by simulation)."""
_CUT_FROM = 0.2
"""Above this part of the peak a flash may be cut off where it passes the level."""
_FAR_OFF = 4.0
"""Standard uncertainties between a fit and the samples nearest to the crossing beyond which the fit is not believed."""
_FOR_A_BEND = 4
_TRIED = 12
FLANK_CHOICE = 1.2
"""Uncertainties are widened by this: window and shape are chosen by the same noisy data (by simulation)."""


def _calmer(pulse: Pulse, level_lx: float) -> Pulse:
    """Return the pulse with a moving average in which noise cannot hide a flank at this level."""
    width = int((pulse.calm_lx > level_lx).sum())
    wanted = ((pulse.noise_lx / (0.15 * level_lx)) ** 2 - 1.0) / 2.0
    half = min(width // 7, math.ceil(max(wanted, 0.0)))
    if half <= pulse.half:
        return pulse
    return pulse._replace(calm_lx=smooth(pulse.light_lx, half), half=half, calm_noise_lx=pulse.noise_lx / math.sqrt(2 * half + 1))


def crossings(
    pulse: Pulse, level_lx: float, as_one: bool = False, u_level_lx: float | None = None
) -> list[tuple[Crossing, Crossing, int]]:
    """Return (rise, fall, samples above) of each stretch above a level; ``as_one`` from the first rise to the last fall.

    ``u_level_lx``: of the level, where the light may be cut off near it.
    """
    pulse = pulse if as_one else _calmer(pulse, level_lx)
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
        # where an unresolved edge ends the light nothing is to be fitted below it
        if u_level_lx is not None and not as_one and _jump_near(pulse, end, level_lx, False) is None:
            fall = beside(fall, corner(pulse, end, level_lx, u_level_lx, (down_top, right)))
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
        edge = Crossing(float(time[jump]) + gap / 2.0, 0.29 * gap, step / gap, True)
        inner = float(light[jump + 1 if rising else jump])
        if inner > level_lx + max(4.0 * pulse.noise_lx, 0.2 * level_lx):
            return edge
        # the light may have passed the level shortly before it was cut off
        inside = (jump + 1, limits[1]) if rising else (limits[0], jump)
        curve = _inside(pulse, level_lx, rising, inside)
        return edge if curve is None else _earlier(edge, curve, gap, rising)
    wide = (_WIDE_SPREAD,) if pulse.noise_lx > _NOISY * level_lx else ()
    best: tuple[Crossing, float] | None = None
    for spread in (*wide, *_FLANK_SPREADS):
        window = _flank(pulse, index, level_lx, rising, limits, spread)
        fit = _fit_flank(pulse, window, level_lx, rising) if window[1] - window[0] >= 3 else None
        if fit is None:
            break
        if best is not None and best[1] <= 1.0:
            return _drawn(best[0], fit[0])
        if best is None or fit[1] < best[1]:
            best = fit
        if fit[1] <= 1.0 and window[1] - window[0] < _MANY:
            break
    straight = between(pulse, index, level_lx, rising)
    return straight if best is None else _beside(best[0], straight)


def _beside(fit: Crossing, straight: Crossing) -> Crossing:
    """Return the fit, or where it is far off the nearest samples the straight line through them: a corner is no curve."""
    apart = abs(fit.time_s - straight.time_s)
    if apart > _FAR_OFF * max(fit.u_s, straight.u_s):
        return straight._replace(u_s=math.hypot(straight.u_s, fit.u_s))
    return fit._replace(u_s=math.sqrt(fit.u_s**2 + max(apart**2 - straight.u_s**2, 0.0)))


def _drawn(best: Crossing, narrower: Crossing) -> Crossing:
    """Add what a fit to half of the flank says otherwise, beyond what noise makes it say.

    Among many samples a flank that bends draws the crossing aside long before the misfit can be told from noise.
    """
    by_noise = max(narrower.u_s**2 - best.u_s**2, 0.0)
    apart = max((narrower.time_s - best.time_s) ** 2 - by_noise, 0.0)
    return best._replace(u_s=math.hypot(best.u_s, math.sqrt(apart)))


def _inside(pulse: Pulse, level_lx: float, rising: bool, limits: tuple[int, int]) -> Crossing | None:
    """Return where the curve between an edge and the top passes a level; None when there is too little of it."""
    calm = pulse.calm_lx[limits[0] : limits[1] + 1]
    higher = np.flatnonzero(calm > level_lx * math.exp(_FLANK_SPREADS[0]))
    first, last = limits
    if higher.size:
        first, last = (first, first + int(higher[0])) if rising else (first + int(higher[-1]), last)
    fit = _fit_flank(pulse, (first, last), level_lx, rising) if last - first >= 3 else None
    return None if fit is None else fit[0]


def _earlier(edge: Crossing, curve: Crossing, gap: float, rising: bool) -> Crossing:
    """Return the inner one of an edge (anywhere in its interval) and a curve's crossing: mean and spread over both."""
    edges = edge.time_s + gap * ((np.arange(_TRIED) + 0.5) / _TRIED - 0.5)
    curves = curve.time_s + curve.u_s * NORMAL
    both = np.maximum.outer(edges, curves) if rising else np.minimum.outer(edges, curves)
    by_curve = float((both == curves).mean())
    # the part that hangs on the level moves with it, the edge does not
    slope = curve.slope_lx_s / max(by_curve, 1e-3)
    # cut off just when it passes the level both are the same moment, and their inner one is too early on average
    u = math.hypot(float(both.std()), _SAME_MOMENT * gap if 0.0 < by_curve < 1.0 else 0.0)
    return Crossing(float(both.mean()), u, slope, by_curve < 0.5)


def _jump_near(pulse: Pulse, index: int, level_lx: float, rising: bool) -> int | None:
    """Sample before an unresolved edge that passes the level near ``index``; None when there is none."""
    light = pulse.light_lx
    low, high = index - pulse.half - 3, index + pulse.half + 3
    for at in pulse.rising if rising else pulse.falling:
        if low <= at < high:
            before, after = float(light[at]), float(light[at + 1])
            outer, inner = (before, after) if rising else (after, before)
            if outer <= level_lx + 2.0 * pulse.noise_lx and inner >= level_lx - 4.0 * pulse.noise_lx:
                return at
    return None


def _flank(pulse: Pulse, index: int, level_lx: float, rising: bool, limits: tuple[int, int], spread: float) -> tuple[int, int]:
    """Samples around a crossing that one curve may describe: within a factor of the level, inside the limits."""
    lower, upper = level_lx * math.exp(-spread), level_lx * math.exp(spread)
    left, right = pulse.calm_lx[limits[0] : index + 1][::-1], pulse.calm_lx[index : limits[1] + 1]
    reach_left = _until(left < lower if rising else left > upper)
    reach_right = _until(right > upper if rising else right < lower)
    return index - reach_left, index + reach_right


def _until(outside: npt.NDArray[np.bool_]) -> int:
    at = np.flatnonzero(outside)
    return int(at[0]) - 1 if at.size else outside.size - 1


def _fit_flank(pulse: Pulse, window: tuple[int, int], level_lx: float, rising: bool) -> tuple[Crossing, float] | None:
    """Fit the flank on the light itself, where noise has one size: a line, an exponential, one with a bend.

    Each counts by Akaike's weight (misfit plus two for each parameter).  Returned with the best one's misfit against what
    chance allows: above 1 no shape fits.
    """
    time, light, noise = part_of(pulse, *window)
    light = light / level_lx
    middle, scale = float(time[0] + time[-1]) / 2.0, float(time[-1] - time[0])
    x = (time - middle) / scale
    sigma = math.hypot(noise, MODEL_ERROR * pulse.height_lx) / level_lx
    powers = flash_fit.powers_of(x, 5)
    found: list[tuple[float, float, float, float, float]] = []
    for shape, size in (("line", 2), ("exponential", 2), ("bent", 3)):
        if size == 3 and x.size < _FOR_A_BEND:
            continue
        fit = flash_fit.polynomial(powers, light, None, 2) if shape == "line" else flash_fit.exponential(powers, light, size)
        root = _root(fit.coefficients, shape, rising)
        u = FLANK_CHOICE * fit.spread_at(root[0]) * sigma / abs(root[1]) if root is not None else math.inf
        if root is None or u > _LOST:
            continue
        score = fit.misfit / sigma**2 + 2.0 * size
        freedom = x.size - size
        excess = fit.misfit / sigma**2 / (freedom + 2.5 * math.sqrt(2.0 * freedom) + 1.0)
        found.append((score, excess, *root, u))
    if not found:
        return None
    least, excess, _, slope, _ = min(found)
    # which of the shapes it is adds to what noise does to each
    place, u = flash_fit.mixed([(math.exp((least - score) / 2.0), at, u) for score, _, at, _, u in found])
    u_s = math.hypot(u * scale, 0.02 * scale / (window[1] - window[0]))
    return Crossing(middle + place * scale, u_s, abs(slope) / scale * level_lx, False), excess


def _root(coefficients: list[float], shape: str, rising: bool) -> tuple[float, float] | None:
    """Return (place, slope in levels) where the fit passes the level in the right direction, near the window only."""
    constant = coefficients[0] - (1.0 if shape == "line" else 0.0)
    linear = coefficients[1]
    if len(coefficients) == 3 and coefficients[2] != 0.0:
        bend = coefficients[2]
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


class Duration(NamedTuple):
    """Time above a level."""

    time_s: float
    u_s: float
    span_s: float
    start_s: float
    end_s: float
    runs: int
    sample_count: int


def duration(pulse: Pulse, peak: Peak, fraction: float, u_ambient_lx: float, as_one: bool = False) -> Duration:
    """Return the time above a fraction of the peak, all stretches together (or from first to last), with its uncertainty."""
    level = fraction * peak.light_lx
    total = variance = by_peak = by_ambient = 0.0
    samples = 0
    # a flash that is cut off at a tenth of its peak has hardly lost anything
    u_level = math.hypot(fraction * peak.u_lx, (1.0 - fraction) * u_ambient_lx) if fraction > _CUT_FROM else None
    edges = crossings(pulse, level, as_one, u_level)
    for up, down, count in edges:
        total += max(down.time_s - up.time_s, 0.0)
        samples += count
        for edge, other in ((up, down), (down, up)):
            # a peak that begins at an unresolved edge is too low when the edge is placed too late: the other flank then
            # passes the lower level later and both errors cancel, as far as that flank is no steeper than the peak's
            cancels = fraction * peak.u_edge_lx / (edge.u_s * other.slope_lx_s) if edge.jump and other.slope_lx_s > 0.0 else 0.0
            variance += (edge.u_s * (1.0 - min(cancels, 1.0))) ** 2
            if not edge.jump and edge.slope_lx_s > 0.0:
                by_peak += fraction / edge.slope_lx_s
                by_ambient += (1.0 - fraction) / edge.slope_lx_s
    variance += (by_peak * peak.u_lx) ** 2 + (by_ambient * u_ambient_lx) ** 2
    if not edges[0][0].jump and any(pulse.light_lx[at] > 0.9 * level for at in pulse.falling):
        jumps = sum(edge.u_s**2 for pair in edges for edge in pair[:2] if edge.jump)
        gap = float(pulse.time_s[-1] - pulse.time_s[0]) / (pulse.time_s.size - 1)
        variance = jumps + _CUT_RISE**2 * max(variance - jumps, 0.0) + (_CUT_RISE_GAPS * gap) ** 2
    variance *= 1.0 + (_SOFT_CUT**2 - 1.0) * max(down.corner for _, down, _ in edges)
    variance *= (1.0 + _NOISY_FEW * pulse.noise_lx / pulse.height_lx * min(1.0, _FEW / max(samples, 1))) ** 2
    first, last = edges[0][0].time_s, edges[-1][1].time_s
    return Duration(total, math.sqrt(variance), max(last - first, 0.0), first, last, len(edges), samples)
