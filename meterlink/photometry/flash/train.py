"""More than one pulse in a record: pre-flashes, late second pulses, trains of high-speed sync or pulsing light."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from meterlink.photometry.flash.ambient import Ambient
from meterlink.photometry.flash.exposure import weights
from meterlink.photometry.flash.input import Array, median, runs_of
from meterlink.photometry.flash.pulse import FlashPulse
from meterlink.photometry.flash.shape import Pulse

MIN_PULSES = 4
"""So many maxima with deep dips between them are a train."""
_DIP = 0.25
"""A dip of this part of the peak parts two pulses of a train."""
PRE_FLASH = 0.7
"""A flash half a stop weaker than the one after it is a pre-flash: it does not belong to the exposure."""
_PARTED = 0.08
"""Light that falls below this part of the peak and rises again is another flash, no hump of the same one."""
_COUNTS = 0.07
"""Another flash of this part of the strongest is a tenth of a stop."""
_RESOLVED = 3.0
"""Samples a period needs to be told from an alias."""


class Train(NamedTuple):
    """Pulses of a train as the samples show them."""

    pulse_count: int
    period_s: float
    resolved: bool
    samples: float
    """Samples a period, by the strongest line of the spectrum."""


class Events(NamedTuple):
    """What belongs to the pop, and what came before it."""

    first: int
    last: int
    preflash_lxs: float
    preflash_lead_s: float | None
    train: Train | None
    other_lxs: float = 0.0
    other_lag_s: float | None = None


def separate(pulse: Pulse, ambient: Ambient) -> Events:
    """Return the extent of the pop.

    Separate earlier pulses (back to ambient in between for longer than twice their own length) that are weaker by half a stop are
    pre-flashes and left out; every other pulse belongs to the pop, and the strongest of those is told.  Four and more are a train.
    """
    first, last = ambient.pulse_from, min(ambient.pulse_to, pulse.light_lx.size - 1)
    train = _train(pulse, first, last)
    if train is not None:
        return Events(first, last, 0.0, None, train)
    runs = _separate_runs(pulse, 0, last)
    step = weights(pulse.time_s)
    amounts = [float((pulse.light_lx[a : b + 1] * step[a : b + 1]).sum()) for a, b in runs]
    main = int(np.argmax(amounts)) if amounts else 0
    early = [k for k in range(main) if amounts[k] < PRE_FLASH * amounts[main] and _is_apart(pulse, runs[k], runs[k + 1])]
    if not early or early != list(range(main)):
        return Events(first, last, 0.0, None, None, *_other(pulse, first, last))
    lead = float(pulse.time_s[runs[main][0]] - pulse.time_s[runs[early[-1]][0]])
    # the pop begins in the quiet between the two, as near as its own rise leaves it quiet
    cut = (runs[early[-1]][1] + 2 * runs[main][0]) // 3
    return Events(cut, last, sum(amounts[k] for k in early), lead, None, *_other(pulse, cut, last))


def _other(pulse: Pulse, first: int, last: int) -> tuple[float, float | None]:
    """Return exposure and lag of the strongest flash besides the main one, as far as it counts."""
    runs = _separate_runs(pulse, first, last, _PARTED)
    if len(runs) < 2:
        return 0.0, None
    step = weights(pulse.time_s)
    # each with what comes until the next one
    ends = [*(b for b, _ in runs[1:]), last + 1]
    amounts = [float((pulse.light_lx[a:end] * step[a:end]).sum()) for (a, _), end in zip(runs, ends, strict=True)]
    other, main = np.argsort(amounts)[-2:].tolist()
    if amounts[other] < _COUNTS * amounts[main]:
        return 0.0, None
    return amounts[other], float(pulse.time_s[runs[other][0]] - pulse.time_s[runs[main][0]])


def _run_level(pulse: Pulse, part: float = 0.02) -> float:
    return max(part * pulse.height_lx, 4.0 * pulse.calm_noise_lx)


def _separate_runs(pulse: Pulse, first: int, last: int, part: float = 0.02) -> list[tuple[int, int]]:
    level = _run_level(pulse, part)
    runs = [(a + first, b + first) for a, b in runs_of(pulse.calm_lx[first : last + 1] > level)]
    return [run for run in runs if float(pulse.calm_lx[run[0] : run[1] + 1].max()) > 1.5 * level]


def _is_apart(pulse: Pulse, run: tuple[int, int], following: tuple[int, int]) -> bool:
    """Say whether the light was back at ambient between two runs, for longer than twice the first one."""
    length = float(pulse.time_s[run[1]] - pulse.time_s[run[0]])
    gap = float(pulse.time_s[following[0]] - pulse.time_s[run[1]])
    between = pulse.calm_lx[run[1] + 1 : following[0]]
    return gap > 2.0 * length and between.size > 2 and median(between) < 0.25 * _run_level(pulse)


def _train(pulse: Pulse, first: int, last: int) -> Train | None:
    """Count maxima parted by deep dips, by walking from extreme to extreme with hysteresis."""
    light = pulse.light_lx[first : last + 1]
    # what lies between the highest and the lowest of so many noisy samples is no dip
    spread = 2.0 * math.sqrt(2.0 * math.log(max(light.size, 2))) + 1.0
    dip = max(_DIP * float(light.max()), spread * pulse.noise_lx)
    # in steps of a third of a dip only the changes matter: a million flat samples cost nothing here
    steps = np.floor(light * (3.0 / dip)).astype(np.int64)
    changes = np.flatnonzero(steps[1:] != steps[:-1]) + 1
    if changes.size < 2 * MIN_PULSES:
        return None
    peaks: list[int] = []
    high = low = int(steps[0])
    high_at, rising = 0, True
    for at, value in zip(changes.tolist(), steps[changes].tolist(), strict=True):
        if rising:
            if value > high:
                high, high_at = value, at
            elif value < high - 2:
                peaks.append(high_at)
                rising, low = False, value
        elif value < low:
            low = value
        elif value > low + 2:
            rising, high, high_at = True, value, at
    if len(peaks) < MIN_PULSES:
        return None
    interval = float(np.diff(pulse.time_s[first : last + 1]).mean())
    inner = light[peaks[0] : peaks[-1] + 1]
    samples = _period_in_samples(inner - inner.mean())
    resolved = samples >= _RESOLVED
    count = round((peaks[-1] - peaks[0]) / samples) + 1 if resolved else len(peaks)
    return Train(count, samples * interval, resolved, samples)


def _period_in_samples(values: Array) -> float:
    """Return the period of the strongest line of the spectrum, its place refined by a parabola."""
    size = 1 << (4 * values.size - 1).bit_length()
    power = np.abs(np.fft.rfft(values * np.hanning(values.size), size)) ** 2
    at = int(np.argmax(power[1:-1])) + 1
    left, middle, right = (float(power[k]) for k in (at - 1, at, at + 1))
    bend = left - 2.0 * middle + right
    # beside the slow end of the spectrum the strongest line may be no summit, and its parabola tops far away
    aside = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return size / (at + min(max(aside, -0.5), 0.5))


def sampling_doubt(train: Train) -> float:
    """Return the relative standard uncertainty of a train's exposure from sampling (0.3 / n**2 at n samples a pulse).

    Pulses that are all sampled at the same places share the error; sampled at ever other places they average it.  The
    figure is that of half sines with their cusps, by simulation.  Unresolved trains are averaged by their aliases: 0.
    """
    if not train.resolved:
        return 0.0
    drift = abs(train.samples - round(train.samples)) * train.pulse_count
    return 0.3 / train.samples**2 / max(1.0, drift)


def describe(result: FlashPulse, train: Train) -> FlashPulse:
    """Return the result of a train: durations from first rise to last fall, mean level, count and period if resolved."""
    said = result.noted("train_resolved", count=train.pulse_count) if train.resolved else result.noted("train_unresolved")
    return said._replace(
        kind="train", t05_s=result.span05_s, t01_s=result.span01_s, train_period_s=train.period_s if train.resolved else None,
        pulse_count=train.pulse_count,
    )  # fmt: skip
