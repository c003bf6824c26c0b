"""A pulse of few samples as two exponentials: whole, until it is cut off, or beside a cut that may be there."""

from __future__ import annotations

import math

from meterlink.photometry.flash import clip as flash_clip
from meterlink.photometry.flash import corner as flash_corner
from meterlink.photometry.flash import fit as flash_fit
from meterlink.photometry.flash import model as flash_model
from meterlink.photometry.flash.pulse import FlashPulse
from meterlink.photometry.flash.shape import Pulse

_CUT_LOW = 0.43
"""A pulse cut off below this part of its peak has passed its half before."""
_FEW = 24
"""So few samples may hide that two exponentials were cut off."""
_MAY_STOP, _BY_CHANCE = 0.6, 6.0
"""How likely an amplifier stopped, at most, where nothing speaks against it: k=2 then holds all of what is missing;
so much more chi-square than that of a whole pulse says nothing yet (by simulation)."""
_DRAWN_BACK = 1.6
"""What is believed of rises beforehand draws back what is missing: by so much more it may be (by simulation)."""
_MATTERS = 0.08
"""A part of the exposure that may be missing and is said in words."""


def read(result: FlashPulse, pulse: Pulse, extent: tuple[int, int], u_ambient_lx: float, range_lx: float | None) -> FlashPulse:
    """Return the result with what a model says better than the samples; as it is when there are many, or none fits.

    ``extent``: first and last sample; ``range_lx``: full scale of the converter above the ambient level.
    """
    last = extent[1]
    model = flash_model.read(pulse, last, u_ambient_lx)
    cut, until = _until_cut(result, pulse, last, u_ambient_lx) if model is None or result.sample_count <= _FEW else (-1, None)
    if model is not None:
        result = _as_model(result, pulse, model, _cut_instead(pulse, model, cut, until))
    elif until is not None:
        result = result._replace(
            peak_lx=until.peak_lx, u_peak_lx=until.u_peak_lx,
            t05_s=until.t05_s, span05_s=until.t05_s, u_t05_s=until.u_t05_s,
        )  # fmt: skip
    top = flash_clip.may_have_stopped(pulse, extent, range_lx)
    return result if top is None else _if_stopped(result, pulse, extent, top, (model, u_ambient_lx))


def _until_cut(result: FlashPulse, pulse: Pulse, last: int, u_ambient_lx: float) -> tuple[int, flash_model.TwoExponentials | None]:
    """Return where a short pulse was cut off, clearly below half of its peak, and the two exponentials that it was until then."""
    cut = max(pulse.falling, default=-1)
    if cut < 0 and result.sample_count <= flash_model.MOST_SAMPLES:
        cut = flash_corner.last_before(pulse, last)
    if cut < 0 or not float(pulse.light_lx[cut]) < _CUT_LOW * pulse.height_lx:
        return -1, None
    until = slice(0, cut + 1)
    whole = pulse._replace(time_s=pulse.time_s[until], light_lx=pulse.light_lx[until], calm_lx=pulse.calm_lx[until], falling=[])
    return cut, flash_model.read(whole, cut, u_ambient_lx)


def _cut_instead(
    pulse: Pulse, model: flash_model.TwoExponentials, cut: int, until: flash_model.TwoExponentials | None
) -> tuple[float, flash_model.TwoExponentials]:
    """How likely two exponentials were cut off where noise lets them pass for whole ones as well, and what they were until then."""
    end = model.window[2]
    if until is None or cut >= end:
        return 0.0, model
    # the sample right after the cut may be of either side
    dark = float((pulse.light_lx[cut + 2 : end + 1] ** 2).sum()) / (pulse.noise_lx**2 or 1e-300)
    return flash_corner.likelihood(until.misfit + dark - model.misfit, end + 1 - model.window[1]), until


def _as_model(
    result: FlashPulse, pulse: Pulse, model: flash_model.TwoExponentials, cut: tuple[float, flash_model.TwoExponentials]
) -> FlashPulse:
    """Return the figures of a short pulse of two exponentials in place of those read off its samples."""
    soft = flash_corner.instead(pulse, model.window, model.misfit)
    ways = [(1.0 - max(soft, cut[0]), model.t05_s, model.u_t05_s), (cut[0], cut[1].t05_s, cut[1].u_t05_s)]
    if result.t05_s is not None and result.u_t05_s is not None:
        ways.append((soft, result.t05_s, result.u_t05_s))
    t05, u_t05 = flash_fit.mixed(ways)
    return result._replace(
        exposure_lxs=model.exposure_lxs, total_exposure_lxs=model.exposure_lxs, u_exposure_lxs=model.u_exposure_lxs,
        peak_lx=model.peak_lx, u_peak_lx=model.u_peak_lx, t05_s=t05, span05_s=t05, u_t05_s=u_t05, t01_s=model.t01_s,
        span01_s=model.t01_s, u_t01_s=model.u_t01_s, start_s=model.start_s, end_s=model.start_s + model.t01_s,
        mean_lx=model.exposure_lxs / model.t01_s,
    )  # fmt: skip


def _if_stopped(
    result: FlashPulse,
    pulse: Pulse,
    extent: tuple[int, int],
    top: tuple[int, int],
    whole: tuple[flash_model.TwoExponentials | None, float],
) -> FlashPulse:
    """Return a pop with what it lacks, if its amplifier stopped at its highest samples, in the uncertainty of its exposure.

    ``whole``: what it is else, and the standard uncertainty of the ambient level.  Few samples at the top are as flat when a round
    top was met on both sides; only more of them could tell.
    """
    beyond = flash_model.read(pulse, extent[1], whole[1], top)
    if beyond is None:
        return flash_clip.if_stopped(result, pulse, extent, top)
    flat = pulse.light_lx[top[0] : top[1] + 1]
    misfit = beyond.misfit + float(((flat - flat.mean()) ** 2).sum()) / (pulse.noise_lx**2 or 1e-300)
    # what fits no whole pulse is worse by no chance
    worse = misfit - whole[0].misfit - _BY_CHANCE * min(1.0, _FEW / result.sample_count) if whole[0] is not None else 0.0
    part = _MAY_STOP * flash_fit.chance(worse)
    apart = _DRAWN_BACK * (beyond.exposure_lxs - result.exposure_lxs)
    missing = math.sqrt(part * (apart**2 + beyond.u_exposure_lxs**2))
    result = result._replace(u_exposure_lxs=math.hypot(result.u_exposure_lxs, missing))
    return result.noted("may_have_stopped") if missing > _MATTERS * result.exposure_lxs else result
