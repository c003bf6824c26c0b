"""A pulse of few samples as two exponentials: whole, until it is cut off, or beside a cut that may be there."""

from __future__ import annotations

import math

from meterlink.photometry.flash import FlashPulse
from meterlink.photometry.flash import clip as flash_clip
from meterlink.photometry.flash import corner as flash_corner
from meterlink.photometry.flash import model as flash_model
from meterlink.photometry.flash.shape import Pulse

_CUT_LOW = 0.43
"""A pulse cut off below this part of its peak has passed its half before."""


def read(
    result: FlashPulse, pulse: Pulse, extent: tuple[int, int], u_ambient_lx: float, range_lx: float | None
) -> FlashPulse:
    """Return the result with what a model says better than the samples; as it is when there are many, or none fits.

    ``extent``: first and last sample; ``range_lx``: full scale of the converter above the ambient level.
    """
    model = flash_model.read(pulse, extent[1], u_ambient_lx)
    if model is not None:
        return _as_model(result, pulse, model)
    result = _as_model_until_cut(result, pulse, extent[1], u_ambient_lx)
    return flash_clip.if_stopped(result, pulse, *extent, range_lx)


def _as_model_until_cut(result: FlashPulse, pulse: Pulse, last: int, u_ambient_lx: float) -> FlashPulse:
    """Return peak and t0.5 of a short pulse that was two exponentials until it was cut off, clearly below half of its peak."""
    cut = max(pulse.falling, default=-1)
    if cut < 0 and result.sample_count <= flash_model.MOST_SAMPLES:
        cut = flash_corner.last_before(pulse, last)
    if cut < 0 or not float(pulse.light_lx[cut]) < _CUT_LOW * pulse.height_lx:
        return result
    until = slice(0, cut + 1)
    whole = pulse._replace(
        time_s=pulse.time_s[until], light_lx=pulse.light_lx[until], calm_lx=pulse.calm_lx[until], falling=[]
    )
    model = flash_model.read(whole, cut, u_ambient_lx)
    if model is None:
        return result
    return result._replace(
        peak_lx=model.peak_lx, u_peak_lx=model.u_peak_lx, peak_at_s=model.peak_at_s,
        t05_s=model.t05_s, span05_s=model.t05_s, u_t05_s=model.u_t05_s,
    )  # fmt: skip


def _as_model(result: FlashPulse, pulse: Pulse, model: flash_model.TwoExponentials) -> FlashPulse:
    """Return the figures of a short pulse of two exponentials in place of those read off its samples."""
    t05, u_t05 = _either(result, model, flash_corner.instead(pulse, model.window, model.misfit))
    return result._replace(
        exposure_lxs=model.exposure_lxs,
        total_exposure_lxs=model.exposure_lxs,
        u_exposure_lxs=model.u_exposure_lxs,
        peak_lx=model.peak_lx,
        u_peak_lx=model.u_peak_lx,
        peak_at_s=model.peak_at_s,
        t05_s=t05,
        span05_s=t05,
        u_t05_s=u_t05,
        t01_s=model.t01_s,
        span01_s=model.t01_s,
        u_t01_s=model.u_t01_s,
        start_s=model.start_s,
        end_s=model.start_s + model.t01_s,
        mean_lx=model.exposure_lxs / model.t01_s,
    )


def _either(result: FlashPulse, model: flash_model.TwoExponentials, part: float) -> tuple[float, float]:
    """Return t0.5 and its uncertainty where the samples count with this likelihood, and two exponentials else."""
    if result.t05_s is None or result.u_t05_s is None:
        return model.t05_s, model.u_t05_s
    t05 = part * result.t05_s + (1.0 - part) * model.t05_s
    both = ((part, result.t05_s, result.u_t05_s), (1.0 - part, model.t05_s, model.u_t05_s))
    return t05, math.sqrt(sum(w * (u**2 + (value - t05) ** 2) for w, value, u in both))
