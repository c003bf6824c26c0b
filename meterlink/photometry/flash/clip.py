"""Pops that clipped: where, and bounds instead of numbers."""

from __future__ import annotations

import math

import numpy as np

from meterlink.photometry.flash import exposure as flash_exposure
from meterlink.photometry.flash import flank as flash_flank
from meterlink.photometry.flash.ambient import Ambient
from meterlink.photometry.flash.input import Trace
from meterlink.photometry.flash.pulse import FlashPulse
from meterlink.photometry.flash.shape import Peak, Pulse
from meterlink.photometry.flash.thin import Thinned


def clipped_samples(thinned: Thinned, pulse: Pulse, first: int, last: int) -> tuple[int, int] | None:
    """Return first and last clipped sample between two, or None; looked for in the record as it was given."""
    found = _clipped(thinned.raw, pulse, thinned.raw_place(first), thinned.raw_place(last))
    return None if found is None else (max(thinned.place(found[0]), first), min(thinned.place(found[1]), last))


def _clipped(trace: Trace, pulse: Pulse, first: int, last: int) -> tuple[int, int] | None:
    light = trace.light_lx[: last + 1]
    if trace.full_scale_lx is not None:
        at = np.flatnonzero(light >= trace.full_scale_lx * (1.0 - 1e-9))
        at = at[at >= first]
        return (int(at[0]), int(at[-1])) if at.size else None
    top = np.flatnonzero(light == light[first:].max())
    top = top[top >= first]
    parts = np.split(top, np.flatnonzero(np.diff(top) > 1) + 1)
    run = max(part.size for part in parts)
    # without noise a flat top is a flat top; under noise no light repeats one and the same highest value
    grainy = pulse.noise_lx > 0.6 * trace.quantum_lx if trace.quantum_lx else pulse.noise_lx > 1e-6 * pulse.height_lx
    return (int(top[0]), int(top[-1])) if grainy and run >= (5 if trace.quantum_lx else 3) else None


def clip_peak(pulse: Pulse, clip: tuple[int, int]) -> Peak:
    """Return the level at which the sensor clipped in place of a peak."""
    level = float(pulse.light_lx[clip[0] : clip[1] + 1].max())
    middle = float(pulse.time_s[clip[0]] + pulse.time_s[clip[1]]) / 2.0
    return Peak(level, pulse.noise_lx, middle, clip[1] - clip[0] + 1)


def with_clipping(result: FlashPulse, pulse: Pulse, clip: tuple[int, int], ambient: Ambient) -> FlashPulse:
    """Return the result with bounds and a note; the uncertainties hold a flat chance between them."""
    bounds = flash_exposure.clipped_bounds(pulse, clip[0], clip[1], result.exposure_lxs)
    low05 = low01 = 0.0
    if math.isfinite(bounds.peak_high_lx):
        high = Peak(bounds.peak_high_lx, 0.0, result.peak_at_s, 0)
        if 0.5 * high.light_lx < result.peak_lx:
            low05 = flash_flank.duration(pulse, high, 0.5, ambient.u_lx).time_s
        if 0.1 * high.light_lx < result.peak_lx:
            low01 = flash_flank.duration(pulse, high, 0.1, ambient.u_lx).time_s
    spread = (bounds.exposure_high_lxs - result.exposure_lxs) / math.sqrt(3.0)
    return result._replace(
        clipped=True,
        exposure_bounds_lxs=(result.exposure_lxs, bounds.exposure_high_lxs),
        peak_bounds_lx=(result.peak_lx, bounds.peak_high_lx),
        t05_bounds_s=(low05, result.t05_s or 0.0),
        t01_bounds_s=(low01, result.t01_s or 0.0),
        u_exposure_lxs=math.hypot(result.u_exposure_lxs, spread),
        u_peak_lx=math.hypot(result.u_peak_lx, (bounds.peak_high_lx - result.peak_lx) / math.sqrt(3.0)),
        u_t05_s=math.hypot(result.u_t05_s or 0.0, ((result.t05_s or 0.0) - low05) / math.sqrt(3.0)),
        u_t01_s=math.hypot(result.u_t01_s or 0.0, ((result.t01_s or 0.0) - low01) / math.sqrt(3.0)),
        notes=(*result.notes, "the sensor clipped: the numbers are bounds, take the pop again on the less sensitive range"),
    )
