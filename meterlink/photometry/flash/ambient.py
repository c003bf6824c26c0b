"""Light before and after a pulse: ambient level, noise, and whether there is a pulse at all."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from meterlink.photometry.flash.input import Array, Trace, median, noise_of_differences, smooth
from meterlink.photometry.flash.pulse import NO_QUIET, NoPulse

FLICKER_HZ = (100.0, 120.0, 50.0, 60.0)
"""Twice the mains frequencies, then the mains frequencies themselves (half-wave lamps)."""
_TONE = 0.3
"""How far flicker leaves the curve fitted beside a pulse, under it: part of its swing, for a pulse as long as the record."""


class Level(NamedTuple):
    """Mean of a quiet stretch with its standard uncertainty."""

    mean_lx: float
    u_lx: float
    wanders: bool
    """It changes slowly within the stretch (hum, flicker, a tail): more samples do not make it surer."""


class Ambient(NamedTuple):
    """What the light was without the pulse."""

    level_lx: float
    """What is subtracted under the pulse."""
    u_lx: float
    before: Level | None
    after: Level | None
    noise_lx: float
    """Standard deviation of one sample."""
    differs: bool
    """Before and after disagree beyond noise: the ambient light changed during the pop."""
    pulse_from: int
    pulse_to: int
    """Samples that hold the pulse; quiet outside (as far as the record reaches)."""
    ripple_lx: Array | None = None
    """Flicker of the room light at each sample, to be subtracted with the level."""
    flicker_hz: float | None = None


def span_of_pulse(light: Array, noise_lx: float, pretrigger: int | None) -> tuple[int, int, int, int, int] | None:
    """Return (first, top of the first hump, peak, last) sample clearly above the quiet level and the half width used.

    The weaker a pulse is against noise, the longer the moving average that it is looked for with.
    """
    edge = max(3, min(light.size // 40, 200))
    base = median(light[: max(3, pretrigger)]) if pretrigger else _quiet_level(light, edge)
    # a level from few samples is itself off by noise
    doubt = 2.0 * noise_lx / math.sqrt(max(3, pretrigger) if pretrigger else edge)
    half = 1 if light.size > 30 else 0
    found = None
    for _ in range(3):
        calm = smooth(light, half)
        peak = int(np.argmax(calm))
        height = float(calm[peak]) - base
        noise = noise_lx / math.sqrt(2 * half + 1)
        threshold = max(6.0 * noise + doubt, 0.05 * height)
        if height <= threshold:
            return found
        above = np.flatnonzero(calm > base + threshold)
        first, last = int(above[0]), int(above[-1])
        # back in the dark, not just below the threshold by noise
        below = np.flatnonzero(calm[first : last + 1] <= base + 0.3 * threshold)
        hump = first + int(np.argmax(calm[first : first + int(below[0]) if below.size else last + 1]))
        found = first, hump, peak, last, half
        wanted = int((calm > base + 0.5 * height).sum()) // 6
        if height > 40.0 * noise or wanted <= half:
            break
        half = wanted
    return found


def _quiet_level(light: Array, edge: int) -> float:
    return min(median(light[:edge]), median(light[-edge:]))


def _level(values: Array, noise_lx: float, quantum_lx: float) -> Level | None:
    count = values.size
    if count == 0:
        return None
    variance = noise_lx**2 / count
    wanders = False
    if count >= 32:
        blocks = values[: count // 8 * 8].reshape(8, -1).mean(axis=1)
        slow = float(blocks.var(ddof=1))
        # hum and flicker do not average down: under the pulse the level may be anywhere that the blocks were
        # (chance alone makes the blocks differ by four times the noise once in 5000 records)
        wanders = slow > 4.0 * 8.0 * variance
        variance = slow if wanders else variance
    # without dither all samples sit on one code and share its rounding error
    ratio = noise_lx / quantum_lx if quantum_lx > 0.0 else math.inf
    shared = quantum_lx**2 / 12.0 * math.exp(-2.0 * math.pi**2 * min(ratio, 10.0) ** 2) if quantum_lx else 0.0
    return Level(float(values.mean()), math.sqrt(variance + shared), wanders)


def find(trace: Trace, pretrigger: int | None = None) -> Ambient | None:
    """Return ambient, noise and extent of the pulse, or None when nothing rises out of the noise."""
    light = trace.light_lx
    floor = trace.quantum_lx / math.sqrt(12.0)
    rough = max(noise_of_differences(light), floor)
    span = span_of_pulse(light, rough, pretrigger)
    if span is None:
        return None
    first, hump, peak, last, half = span
    base = median(light[: first - 2]) if first >= 5 else _quiet_level(light, 3)
    calm = smooth(light, half)
    stop = _quiet_from(calm, peak, last, base, rough)
    # seen backwards, a slow rise is a slow tail
    start = light.size - _quiet_from(calm[::-1], light.size - 1 - hump, light.size - 1 - first, base, rough)
    quiet = [_without_outliers(light[:start], rough), light[stop:]]
    noise = max(_noise(quiet, rough), floor)
    before = _level(quiet[0], noise, trace.quantum_lx)
    after = _level(quiet[1], noise, trace.quantum_lx) if quiet[1].size >= 3 else None
    if before is None and start == 0 and after is None:
        edge = _quiet_level(light, max(3, light.size // 40))
        return Ambient(edge, max(noise, abs(edge) / 2.0), None, None, noise, False, 0, light.size)
    joined = _join((before, after), noise, (start, stop), 2e-4 * float(light[peak] - base))
    if pretrigger and after is None and start < pretrigger // 2:
        # what is quiet until a pop is seen rose long before it: the room's own light goes up and down
        restless = [smooth(light[:pretrigger], pretrigger // 16), light[stop:]]
        return _as_it_goes_on(trace, joined._replace(pulse_from=pretrigger), restless)._replace(pulse_from=start)
    if joined.differs or (before and before.wanders) or (after and after.wanders):
        return _with_ripple(trace, _as_it_goes_on(trace, joined, quiet))
    return joined


def _as_it_goes_on(trace: Trace, ambient: Ambient, quiet: list[Array]) -> Ambient:
    """Return the ambient light with what it may have done under the pulse, when it goes up and down beside it as it does."""
    swing = 0.0
    for part, time in zip(quiet, (trace.time_s[: ambient.pulse_from], trace.time_s[ambient.pulse_to :]), strict=True):
        if part.size < 32 or time.size < 32:
            continue
        blocks = part[: part.size // 8 * 8].reshape(8, -1).mean(axis=1)
        seen_s = float(time[-1] - time[0])
        under_s = float(trace.time_s[min(ambient.pulse_to, trace.time_s.size - 1)] - trace.time_s[ambient.pulse_from])
        # as much again for each time that the pulse is longer than what is seen, but no lamp goes below nothing
        swing = max(swing, min(float(np.ptp(blocks)) * (1.0 + under_s / seen_s), 2.0 * abs(ambient.level_lx)))
    return ambient._replace(u_lx=math.hypot(ambient.u_lx, swing / math.sqrt(12.0)))


def _quiet_from(calm: Array, peak: int, last: int, base: float, noise: float) -> int:
    """First sample after the pulse whose remaining light, decaying as it does at the end, is a tenth of the noise."""
    height = float(calm[peak]) - base
    end_level = max(float(calm[last]) - base, 1e-3 * height, 1e-30)
    higher = np.flatnonzero(calm[peak : last + 1] - base > min(4.0 * end_level, 0.5 * (height + end_level)))
    from_level = peak + (int(higher[-1]) if higher.size else 0)
    ratio = max((float(calm[from_level]) - base) / end_level, 1.2)
    decay = (last - from_level) / math.log(ratio)
    wait = decay * max(1.0, math.log(max(end_level / max(0.1 * noise, 1e-4 * height), 1.0)))
    # a decay misread under noise must not eat the whole record
    wait = min(wait, 2.5 * max(last - peak, 4))
    return min(calm.size, last + 2 + math.ceil(wait))


def _without_outliers(values: Array, noise: float) -> Array:
    """Leave out what stands far above the rest of a quiet stretch: a weak pre-flash, a click."""
    if values.size < 8:
        return values
    kept = values[np.abs(smooth(values, 1) - median(values)) <= 5.0 * noise]
    return kept if kept.size >= 0.7 * values.size else values


def _noise(quiet: list[Array], rough: float) -> float:
    degrees = sum(part.size - 1 for part in quiet if part.size >= 3)
    if degrees < 8:
        return rough
    squares = sum(float(((part - part.mean()) ** 2).sum()) for part in quiet if part.size >= 3)
    noise = math.sqrt(squares / degrees)
    # a drift in a quiet stretch is no noise of single samples: trust differences when they tell much less
    return noise if noise < 3.0 * rough or rough == 0.0 else rough


def _join(levels: tuple[Level | None, Level | None], noise: float, extent: tuple[int, int], tolerance_lx: float) -> Ambient:
    """Pool the levels before and after when they agree, else take their middle with the difference as uncertainty."""
    before, after = levels
    if before is None or after is None:
        only = before or after
        if only is None:
            raise NoPulse(NO_QUIET)
        return Ambient(only.mean_lx, only.u_lx, before, after, noise, False, *extent)
    difference = after.mean_lx - before.mean_lx
    spread = math.hypot(before.u_lx, after.u_lx)
    differs = abs(difference) > 3.5 * spread + tolerance_lx
    if differs or ((before.wanders or after.wanders) and abs(difference) > tolerance_lx):
        middle = (before.mean_lx + after.mean_lx) / 2.0
        u = math.hypot(abs(difference) / math.sqrt(12.0), spread / 2.0 if differs else spread)
        return Ambient(middle, u, before, after, noise, differs, *extent)
    weights = [1.0 / max(level.u_lx, 1e-30) ** 2 for level in (before, after)]
    mean = (before.mean_lx * weights[0] + after.mean_lx * weights[1]) / sum(weights)
    return Ambient(mean, 1.0 / math.sqrt(sum(weights)), before, after, noise, False, *extent)


def _with_ripple(trace: Trace, ambient: Ambient) -> Ambient:
    """Fit mains flicker to the quiet samples and carry it on under the pulse; keep the plain level when none fits."""
    outside = np.ones(trace.time_s.size, dtype=bool)
    outside[ambient.pulse_from : ambient.pulse_to] = False
    time, light = trace.time_s[outside], trace.light_lx[outside]
    fits: list[tuple[float, float, Array, float]] = []
    for frequency in FLICKER_HZ[:2]:
        angle = 2.0 * math.pi * frequency * trace.time_s
        whole = np.stack((np.ones_like(angle), np.cos(angle), np.sin(angle)), axis=1)
        design = whole[outside]
        square = design.T @ design + 1e-9 * np.eye(3)
        coefficients = np.linalg.solve(square, design.T @ light)
        rest = float(((light - design @ coefficients) ** 2).mean())
        variance = float(np.einsum("ij,jk,ik->i", whole, np.linalg.inv(square), whole).mean()) * rest
        fits.append((rest, frequency, whole @ coefficients, variance))
    best = min(fits, key=lambda fit: fit[0])
    # it must explain what is there, and most of what a constant level leaves
    noise = ambient.noise_lx**2 + trace.quantum_lx**2 / 1.5
    if time.size < 64 or best[0] > 1.5 * noise or best[0] > 0.5 * float(light.var()):
        return ambient
    under = slice(ambient.pulse_from, ambient.pulse_to)
    level = float(best[2][under].mean())
    # what fits nearly as well says something else under the pulse; and no lamp is a pure tone
    others = [abs(float(fit[2][under].mean()) - level) for fit in fits if fit[0] < 4.0 * max(best[0], noise)]
    doubt = _TONE * float(np.ptp(best[2])) * (ambient.pulse_to - ambient.pulse_from) / trace.time_s.size
    return ambient._replace(
        level_lx=level, u_lx=math.sqrt(best[3] + max(others) ** 2 + doubt**2), differs=False, ripple_lx=best[2] - level,
        flicker_hz=best[1],
    )  # fmt: skip


def flicker_hz(trace: Trace) -> float | None:
    """Return the frequency of the mains flicker that explains this waveform as steady light, or None.

    Least squares with a frequency of ``FLICKER_HZ`` and two harmonics.  A record of less than 1.7 periods counts only
    when it begins without a quiet stretch, for then no pulse with its quiet start can be meant.
    """
    time, light = trace.time_s, trace.light_lx
    if light.size < 12:
        return None
    stride = max(1, light.size // 1024)
    time, light = time[::stride], light[::stride]
    variance = float(light.var())
    # mains flicker stays near its mean; a pulse rises far above it
    if variance == 0.0 or float(light.max() - light.mean()) > 2.5 * math.sqrt(variance):
        return None
    length = float(time[-1])
    best, most = None, 0.93
    for frequency in FLICKER_HZ:
        periods = length * frequency
        if periods < 0.7 or (periods < 1.7 and _starts_quiet(light)):
            continue
        columns = [np.ones_like(time)]
        for harmonic in (1, 2, 3) if periods >= 1.7 else (1, 2):
            angle = 2.0 * math.pi * frequency * harmonic * time
            columns += [np.cos(angle), np.sin(angle)]
        design = np.stack(columns, axis=1)
        fit = design @ np.linalg.solve(design.T @ design + 1e-9 * np.eye(design.shape[1]), design.T @ light)
        explained = 1.0 - float(((light - fit) ** 2).mean()) / variance
        if explained > most:
            best, most = frequency, explained + 0.01
    return best


def _starts_quiet(light: Array) -> bool:
    """Say whether the first twelfth of the record is flat and near the lowest light, as before a pulse."""
    edge = max(3, light.size // 12)
    spread = float(light.max() - light.min())
    start = light[:edge]
    return float(start.max() - start.min()) < 0.12 * spread and float(start.mean() - light.min()) < 0.15 * spread
