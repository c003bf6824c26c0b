"""What of a pop falls inside the shutter window."""

from __future__ import annotations

import math

import numpy as np

from meterlink.photometry.flash.input import Array
from meterlink.photometry.flash.pulse import FlashPulse
from meterlink.photometry.flash.shape import Pulse


def in_window(result: FlashPulse, pulse: Pulse, shutter_s: float, window_start_s: float | None) -> FlashPulse:
    """Keep the exposure inside the shutter window; the rest of the record stays as it is."""
    time, light = pulse.time_s, pulse.light_lx
    begin = _start_of(pulse, result) if window_start_s is None else window_start_s
    end = begin + shutter_s
    parts = np.concatenate(([0.0], np.cumsum(np.diff(time) * (light[1:] + light[:-1]) / 2.0)))
    inside = _part_until(time, light, parts, end) - _part_until(time, light, parts, begin)
    if end > float(time[-1]):
        inside += result.tail_lxs
    inside = min(max(inside, 0.0), result.total_exposure_lxs)
    share = inside / result.total_exposure_lxs if result.total_exposure_lxs > 0.0 else 0.0
    u = math.hypot(result.u_exposure_lxs * share, pulse.noise_lx * math.sqrt(shutter_s * float(np.diff(time).mean())))
    notes = result.notes
    if share < 0.985:
        notes = (*notes, f"the shutter window keeps {share:.0%} of the flash")
    return result._replace(exposure_lxs=inside, u_exposure_lxs=min(u, max(result.u_exposure_lxs, u * share)), notes=notes)


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


def _part_until(time: Array, light: Array, parts: Array, moment: float) -> float:
    """Exposure up to a moment, the line between two samples taken as straight."""
    if moment <= float(time[0]):
        return 0.0
    if moment >= float(time[-1]):
        return float(parts[-1])
    k = int(np.searchsorted(time, moment, side="right")) - 1
    gap = float(time[k + 1] - time[k])
    x = (moment - float(time[k])) / gap
    start, change = float(light[k]), float(light[k + 1] - light[k])
    return float(parts[k]) + gap * (start * x + change * x * x / 2.0)
