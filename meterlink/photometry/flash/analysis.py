"""The careful analysis of one waveform, step by step: see ``flash.analyse``."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from meterlink.photometry.flash import ambient as flash_ambient
from meterlink.photometry.flash import clip as flash_clip
from meterlink.photometry.flash import exposure as flash_exposure
from meterlink.photometry.flash import flank as flash_flank
from meterlink.photometry.flash import input as flash_input
from meterlink.photometry.flash import shape as flash_shape
from meterlink.photometry.flash import short as flash_short
from meterlink.photometry.flash import train as flash_train
from meterlink.photometry.flash.ambient import Ambient
from meterlink.photometry.flash.input import Trace
from meterlink.photometry.flash.pulse import CANNOT_TELL, LAMP, NEGATIVE, TOO_LONG, FlashPulse, NoPulse
from meterlink.photometry.flash.shape import Peak, Pulse

_FEW_SAMPLES = 8
_FEW_A_PERIOD = 4.0
_STILL_UP = 0.85
"""Above this part of the highest light at the end of the record there is no pulse to be read."""
_UNEVEN = 0.15
"""Steady light varies by less than this part of its mean (standard deviation)."""
_RARE, _RARE_OF_FEW = 4.7, 3.2
"""From the lowest to the highest hundredth normal noise has 5.2 standard deviations, half sines 2.9, decaying pulses up to 4.5."""
_CANNOT_TELL = 0.25
"""A duration whose relative standard uncertainty is above this is not given: k=2 would be half of it."""


class Extent(NamedTuple):
    """Samples that belong to the pop."""

    clip: tuple[int, int] | None
    """First and last clipped sample."""
    to_the_end: bool
    """The record ends before any quiet stretch."""
    dithered: bool
    """Noise makes the errors of the converter's codes chance; without it they add up, and no fit sees it."""
    range_lx: float | None
    """Full scale of the converter above the ambient level."""


def analyse(
    illuminance_lx: Any,
    sample_interval_s: Any,
    shutter_s: float | None,
    full_scale_lx: float | None,
    pretrigger: int | None = None,
    quantum_lx: float | None = None,
) -> FlashPulse:
    """Return what the waveform says; arguments as in ``flash.analyse`` and ``flash.analyse_counts``."""
    given = flash_input.check(illuminance_lx, sample_interval_s, full_scale_lx, quantum_lx)
    if shutter_s is not None and not 0.0 < shutter_s < math.inf:
        raise ValueError(f"shutter_s must be positive, got {shutter_s!r}")
    thinned = flash_input.thin(given)
    trace = thinned.trace
    hz = flash_ambient.flicker_hz(trace)
    quiet = thinned.place(pretrigger) if pretrigger else None
    # what is level but for the rounding of its mean has no pulse, however small the noise
    level = float(np.ptp(trace.light_lx)) <= 1e-12 * float(np.abs(trace.light_lx).max())
    ambient = None if hz or level else flash_ambient.find(trace, quiet)
    if ambient is None:
        return _steady(given, hz)
    _check_negative(given, max(thinned.noise_lx, ambient.noise_lx))
    light = trace.light_lx - ambient.level_lx
    if ambient.ripple_lx is not None:
        light = light - ambient.ripple_lx
    whole = flash_shape.prepare(trace.time_s, light, ambient.noise_lx)
    events = flash_train.separate(whole, ambient)
    first, last = events.first, events.last
    if events.train is not None:
        _check_quiet(whole, ambient, (first, last))
    _check_fallen(whole, ambient)
    full = None if trace.full_scale_lx is None else trace.full_scale_lx - ambient.level_lx
    clip, flat = flash_clip.clipped_samples(thinned, whole, first, last), False
    if clip is None and events.train is None:
        clip = flash_clip.flat_top(whole, first, last, full)
        flat = clip is not None
    # what came before the pop (a pre-flash) must not count as a part of it
    own = np.where(np.arange(last + 1) >= first, light[: last + 1], 0.0)
    dithered = ambient.noise_lx >= flash_input.DITHERED * trace.quantum_lx
    extent = Extent(clip, last == light.size - 1 and ambient.after is None, dithered, full)
    # a moving average must not flatten the pulses of a train
    widest = math.inf if events.train is None else events.train.samples / 8.0
    pulse = flash_shape.prepare(trace.time_s[: last + 1], own, ambient.noise_lx, widest)
    result = _pulse(pulse, ambient, extent, events)._replace(flat_below_full_scale=flat)
    if result.exposure_lxs <= 0.0:
        raise NoPulse(CANNOT_TELL, ambient.level_lx)
    if thinned.factor > 1:
        count = result.sample_count * thinned.factor
        result = result._replace(noise_lx=thinned.noise_lx, sample_count=count)
    return flash_exposure.in_window(result, pulse, shutter_s) if shutter_s is not None else result


def _check_negative(trace: Trace, noise_lx: float) -> None:
    lowest = float(trace.light_lx.min())
    allowed = max(8.0 * noise_lx, 0.02 * float(trace.light_lx.max() - lowest))
    if lowest < -allowed:
        raise NoPulse(NEGATIVE, lowest)


def _check_quiet(pulse: Pulse, ambient: Ambient, extent: tuple[int, int]) -> None:
    """Refuse a train whose dips are darker than what was taken for the room's light, or that stands no higher than it."""
    inside = pulse.light_lx[extent[0] : extent[1] + 1]
    dark = max(5.0 * pulse.noise_lx, 0.02 * pulse.height_lx)
    if float(np.quantile(inside, 0.05)) < -dark or float(inside.mean()) <= 0.0:
        raise NoPulse(CANNOT_TELL, float(inside.mean()) + ambient.level_lx)


def _check_fallen(pulse: Pulse, ambient: Ambient) -> None:
    """Refuse a record whose light is still up at its end: a lamp, or when it falls by then, a flash far too long."""
    size = pulse.light_lx.size
    end, before = (float(part.mean()) for part in (pulse.light_lx[-3:], pulse.light_lx[-max(6, size // 4) : -3]))
    if end <= _STILL_UP * pulse.height_lx:
        return
    left, level = end / pulse.height_lx, end + ambient.level_lx
    doubt = 3.0 * pulse.noise_lx * math.sqrt(1.0 / 3.0 + 1.0 / (max(6, size // 4) - 3))
    falls = before - end > doubt and pulse.height_lx - end > doubt
    raise NoPulse(TOO_LONG if falls else LAMP, level, left)


def _steady(trace: Trace, hz: float | None) -> FlashPulse:
    light = trace.light_lx
    mean = float(light.mean())
    if hz is None and _pulses(trace):
        raise NoPulse(CANNOT_TELL, mean)
    noise = flash_input.noise_of_differences(light)
    calm = flash_input.smooth(light, 1) if light.size > 8 else light
    high, low = float(calm.max()), float(calm.min())
    if hz is None and high - low < 6.0 * max(noise, trace.quantum_lx / 3.5):
        high = low = mean
    modulation = (high - low) / (high + low) if high + low > 0.0 else 0.0
    clipped = trace.full_scale_lx is not None and float(light.max()) >= trace.full_scale_lx
    modulation = min(max(modulation, 0.0), 1.0)
    found = FlashPulse(
        kind="steady", exposure_lxs=0.0, peak_lx=0.0, t05_s=None, t01_s=None, ambient_lx=mean,
        u_ambient_lx=float(light.std()) / math.sqrt(light.size), noise_lx=noise, mean_lx=mean, modulation=modulation,
        flicker_hz=hz, humps=0, clipped=clipped, pulse_count=0,
    )  # fmt: skip
    found = found.noted("steady_light") if hz is None else found.noted("light_flickers", hz=hz, modulation=modulation)
    return found.noted("saturated") if clipped else found


def _pulses(trace: Trace) -> bool:
    """Say whether light without a pulse is too uneven for steady light, in a way in which noise is not.

    Noise has rare extremes; light that pulses is at its extremes most of the time.
    """
    light = trace.light_lx
    spread, mean = float(light.std()), float(light.mean())
    low, high = (float(np.quantile(light, q)) for q in (0.005, 0.995))
    uneven = spread > _UNEVEN * max(mean, 0.0) and high - low > 3.0 * trace.quantum_lx
    return uneven and high - low < (_RARE if light.size >= 100 else _RARE_OF_FEW) * spread


def _pulse(pulse: Pulse, ambient: Ambient, extent: Extent, events: flash_train.Events) -> FlashPulse:
    first, last, clip = events.first, events.last, extent.clip
    truncated = extent.to_the_end and _is_cut(pulse)
    # where it clipped, that level in place of a peak
    peak = Peak(float(pulse.light_lx[clip[0] : clip[1] + 1].max()), pulse.noise_lx) if clip else flash_shape.peak(pulse)
    train = events.train is not None
    if train:
        # the highest of many equal pulses is the one that noise lifted
        peak = peak._replace(u_lx=math.hypot(peak.u_lx, pulse.calm_noise_lx))
    integral = flash_exposure.integrate(pulse, first, last, ambient.u_lx, truncated, train)
    half = flash_flank.duration(pulse, peak, 0.5, ambient.u_lx, train)
    tenth = flash_flank.duration(pulse, peak, 0.1, ambient.u_lx, train)
    result = FlashPulse(
        kind="flash",
        exposure_lxs=integral.exposure_lxs,
        peak_lx=peak.light_lx,
        t05_s=half.time_s,
        t01_s=tenth.time_s,
        ambient_lx=ambient.level_lx,
        flicker_hz=ambient.flicker_hz,
        u_exposure_lxs=integral.u_lxs,
        u_peak_lx=math.hypot(peak.u_lx, peak.u_edge_lx, ambient.u_lx),
        u_t05_s=half.u_s,
        u_t01_s=tenth.u_s,
        u_ambient_lx=ambient.u_lx,
        noise_lx=ambient.noise_lx,
        ambient_before_lx=ambient.before.mean_lx if ambient.before else None,
        ambient_after_lx=ambient.after.mean_lx if ambient.after else None,
        total_exposure_lxs=integral.exposure_lxs,
        tail_lxs=integral.tail_lxs,
        start_s=tenth.start_s,
        end_s=tenth.end_s,
        span05_s=half.span_s,
        span01_s=tenth.span_s,
        humps=half.runs,
        sample_count=tenth.sample_count,
        preflash_lxs=events.preflash_lxs,
        preflash_lead_s=events.preflash_lead_s,
        other_lxs=events.other_lxs,
        other_lag_s=events.other_lag_s,
        mean_lx=integral.exposure_lxs / tenth.span_s if tenth.span_s > 0.0 else 0.0,
    )
    if events.train is not None:
        doubt = flash_train.sampling_doubt(events.train) * result.exposure_lxs
        # with few samples a period the first or the last pulse may seem too low to count
        missed_s = 0.4 * events.train.period_s if events.train.samples < _FEW_A_PERIOD else 0.0
        result = result._replace(
            u_exposure_lxs=math.hypot(result.u_exposure_lxs, doubt),
            u_t05_s=math.hypot(half.u_s, missed_s),
            u_t01_s=math.hypot(tenth.u_s, 0.5 * missed_s),
        )
        result = flash_train.describe(result, events.train)
    if extent.dithered and not train and clip is None and not truncated and half.runs == tenth.runs == 1:
        result = flash_short.read(result, pulse, (first, last), ambient.u_lx, extent.range_lx)
    if truncated:
        result = _with_tail(result, pulse, peak, last)
    if float(pulse.light_lx[0]) > max(0.1 * peak.light_lx, 4.0 * pulse.noise_lx):
        result = result._replace(truncated=True, begins_inside=True).noted("begins_inside")
    if clip is not None:
        result = flash_clip.with_clipping(result, pulse, clip, ambient)
    return _with_notes(_told(result), ambient, float(pulse.time_s[integral.stop] - pulse.time_s[first]))


def _told(result: FlashPulse) -> FlashPulse:
    """Take back durations that the samples do not tell (too few inside the pulse, or too weak against noise)."""
    if result.clipped or result.truncated:
        return result
    for name, symbol in (("t05_s", "t0.5"), ("t01_s", "t0.1")):
        value, u = getattr(result, name), getattr(result, f"u_{name}")
        if value is not None and (result.sample_count < 2 or u > _CANNOT_TELL * value):
            changes: dict[str, Any] = {name: None, f"u_{name}": None}
            result = result._replace(**changes).noted("duration_untold", duration=symbol)
    return result


def _is_cut(pulse: Pulse) -> bool:
    end = float(pulse.light_lx[-3:].mean())
    return end > max(4.0 * pulse.noise_lx / math.sqrt(3.0), 0.004 * pulse.height_lx)


def _with_tail(result: FlashPulse, pulse: Pulse, peak: Peak, last: int) -> FlashPulse:
    """Carry durations beyond the end of the record by the decay seen before it; half of what is added is doubt."""
    constant = flash_exposure.decay_s(pulse, last)
    end = float(pulse.light_lx[max(0, last - 2) : last + 1].mean())
    changes: dict[str, Any] = {"truncated": True, "left": end / peak.light_lx}
    for name, fraction in (("t05_s", 0.5), ("t01_s", 0.1)):
        seen = getattr(result, name) or 0.0
        beyond = constant * math.log(end / (fraction * peak.light_lx)) if end > fraction * peak.light_lx else 0.0
        if beyond > 0.0:
            span = name.replace("t", "span", 1)
            changes[name] = seen + beyond
            changes[span] = (getattr(result, span) or 0.0) + beyond
            changes[f"u_{name}"] = math.hypot(getattr(result, f"u_{name}") or 0.0, 0.5 * beyond)
            changes[name.replace("_s", "_bounds_s")] = (seen, seen + 2.0 * beyond)
    seen_lxs = result.exposure_lxs - result.tail_lxs
    changes["exposure_bounds_lxs"] = (seen_lxs, seen_lxs + 2.0 * result.tail_lxs)
    return result._replace(**changes).noted("extrapolated", share=result.tail_lxs / result.exposure_lxs)


def _with_notes(result: FlashPulse, ambient: Ambient, length_s: float) -> FlashPulse:
    if ambient.differs and ambient.before is not None and ambient.after is not None:
        change = ambient.after.mean_lx - ambient.before.mean_lx
        doubt = abs(change) / 2.0 * length_s
        code = "room_fell" if change < 0.0 else "room_rose"
        result = result._replace(ambient_doubt_lxs=doubt).noted(code, change_lx=abs(change), doubt_lxs=doubt)
    if ambient.flicker_hz is not None:
        result = result.noted("room_flickers", hz=ambient.flicker_hz)
    if ambient.before is None:
        result = result.noted("no_quiet_before")
    if result.kind == "flash" and result.sample_count < _FEW_SAMPLES:
        result = result.noted("few_samples", count=result.sample_count)
    if result.preflash_lead_s is not None:
        share = result.preflash_lxs / result.total_exposure_lxs
        result = result.noted("pre_flash_left_out", share=share, lead_ms=result.preflash_lead_s * 1e3)
    if result.other_lag_s is not None:
        share = result.other_lxs / result.total_exposure_lxs
        result = result.noted("two_in_it", share=share, apart_ms=abs(result.other_lag_s) * 1e3)
    return result
