"""Waveforms as they come in: checked, as float arrays, with their sample times and the size of one code; long ones made short.

Where a pulse has samples to spare, neighbours are averaged before it is looked at closely.  Averages keep the integral and every
level; with 150 of them or more above half of the peak the curve inside one is far below any other error.  Records in which
anything is as short as an average (a train, a narrow pulse) are left alone.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

MAX_SAMPLES = 16_777_216
"""More samples than any sensor of ours sends by far; refused before anything is allocated."""
MIN_SAMPLES = 4
_NOISE_SAMPLES = 1000
"""So many of each part of a long record tell its noise."""
_LONG = 3000
"""Records shorter than this are taken as they are."""
_WANTED = 1500
_INSIDE = 200
"""Averages above half of the peak that must remain."""
_STEEP = 0.25
"""A change by this part of the peak inside an average is an edge ..."""
_EDGES = 4
"""... and so many of them may be the edges of humps; more are a train."""
DITHERED = 0.5
"""Noise of this part of a code or more makes the average of many codes exact."""


class Trace(NamedTuple):
    """A checked waveform."""

    time_s: Array
    light_lx: Array
    quantum_lx: float
    """Size of one code of the converter, 0 when the values are not quantised."""
    full_scale_lx: float | None


def check(
    illuminance_lx: Any, sample_interval_s: Any, full_scale_lx: float | None = None, quantum_lx: float | None = None
) -> Trace:
    """Return the checked waveform; ``quantum_lx`` is looked for when not given.

    ``sample_interval_s`` is the interval, or the time of each sample.  Raises ``ValueError`` in one line for empty, short, huge,
    non-finite or negative data, an interval that is not positive and times that do not increase.
    """
    _check_length(illuminance_lx)
    try:
        light = np.ascontiguousarray(illuminance_lx, dtype=np.float64)
    except (TypeError, ValueError) as problem:
        raise ValueError(f"waveform must be a flat list of numbers: {problem}".splitlines()[0]) from None
    if light.ndim != 1:
        raise ValueError(f"waveform must be one row of samples, got {light.ndim} dimensions")
    if not math.isfinite(float(light.sum())) and not bool(np.isfinite(light).all()):
        raise ValueError("waveform holds samples that are not numbers (nan or infinite)")
    if full_scale_lx is not None and not 0.0 < full_scale_lx < math.inf:
        raise ValueError(f"full_scale_lx must be positive, got {full_scale_lx!r}")
    time = _times(sample_interval_s, light.size)
    return Trace(time, light, quantum(light) if quantum_lx is None else quantum_lx, full_scale_lx)


def _check_length(samples: Any) -> None:
    try:
        count = len(samples)
    except TypeError:
        raise ValueError("waveform must be a list or an array of samples") from None
    if count < MIN_SAMPLES:
        raise ValueError(f"waveform of {count} samples is too short: at least {MIN_SAMPLES} are needed")
    if count > MAX_SAMPLES:
        raise ValueError(f"waveform of {count} samples is too long: at most {MAX_SAMPLES} are taken")


def _times(interval: Any, count: int) -> Array:
    if isinstance(interval, (int, float, np.floating, np.integer)):
        step = float(interval)
        if not 0.0 < step <= 3600.0:
            raise ValueError(f"sample interval must be positive (at most 3600 s), got {step!r}")
        return np.arange(count, dtype=np.float64) * step
    try:
        time = np.asarray(interval, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError("sample interval must be a number, or a list of the samples' times") from None
    if time.shape != (count,):
        raise ValueError(f"{count} samples need {count} sample times, got {time.shape}")
    steps = np.diff(time)
    if not bool(np.isfinite(time).all()) or not bool((steps > 0.0).all()):
        raise ValueError("sample times must be finite and increase from sample to sample")
    shifted: Array = time - time[0]
    return shifted


def quantum(light: Array) -> float:
    """Return the step between codes when all values lie on one grid, else 0."""
    stride = max(1, light.size // 4096)
    values = np.unique(light[::stride])
    if values.size < 2:
        return 0.0
    gaps = np.diff(values)
    step = float(gaps.min())
    if values.size < 6:
        # a handful of values: codes of a steady light when close together, else too few to tell
        return step if step < 0.02 * float(np.abs(values).max()) else 0.0
    # the rounding of large values must not pass for a grid of tiny steps
    if step < 1e-7 * float(np.abs(values).max()):
        return 0.0
    off_grid = np.abs(gaps / step - np.round(gaps / step))
    return step if float(off_grid.max()) < 1e-3 else 0.0


def smooth(values: Array, half: int) -> Array:
    """Return the moving average over 2 * half + 1 samples; the window shrinks at both ends."""
    if half <= 0:
        return values
    size, width = values.size, 2 * half + 1
    total = np.zeros(size + 1)
    np.cumsum(values, out=total[1:])
    if size < width:
        index = np.arange(size)
        low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, size)
        return np.asarray((total[high] - total[low]) / (high - low))
    average = np.empty(size)
    np.subtract(total[width:], total[:-width], out=average[half : size - half])
    average[half : size - half] /= width
    average[:half] = total[half + 1 : width] / np.arange(half + 1, width)
    average[size - half :] = (total[size] - total[size - 2 * half : size - half]) / np.arange(2 * half, half, -1)
    return average


def runs_of(holds: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return [first, last] of each stretch over which it holds."""
    edges = np.flatnonzero(np.diff(holds, prepend=False, append=False)).tolist()
    return [(first, after - 1) for first, after in zip(edges[::2], edges[1::2], strict=True)]


def median(values: Array) -> float:
    """Return the median, without what ``numpy.median`` does about axes and masks."""
    middle = values.size // 2
    if values.size % 2:
        return float(np.partition(values, middle)[middle])
    pair = np.partition(values, (middle - 1, middle))
    return float(pair[middle - 1] + pair[middle]) / 2.0


def noise_of_differences(values: Array) -> float:
    """Return the standard deviation of white noise from second differences; a pulse in the data hardly counts.

    Long records are looked at in 16 parts and the lower quartile is taken: a train of pulses is no noise.
    """
    if values.size < 3:
        return 0.0
    if values.size >= 322:
        parts = values[: values.size // 16 * 16].reshape(16, -1)[:, :_NOISE_SAMPLES]
        second = np.abs(parts[:, 2:] - 2.0 * parts[:, 1:-1] + parts[:, :-2])
        second.partition(second.shape[1] // 2, axis=1)
        middle = float(np.sort(second[:, second.shape[1] // 2])[4])
    else:
        middle = median(np.abs(values[2:] - 2.0 * values[1:-1] + values[:-2]))
    return 1.4826 * middle / math.sqrt(6.0)


class Thinned(NamedTuple):
    """A record as it is analysed, and the one that was given."""

    trace: Trace
    raw: Trace
    factor: int
    """Samples averaged into one."""
    noise_lx: float
    """Standard deviation of one sample as given; 0 when the factor is 1 (not looked at)."""

    def place(self, raw_index: int) -> int:
        """Return the sample of the trace that a sample of the record went into (or one beside it, at an edge)."""
        if self.factor == 1:
            return raw_index
        moment = self.raw.time_s[min(raw_index, self.raw.time_s.size - 1)]
        reach = (self.raw.time_s[1] - self.raw.time_s[0]) * self.factor / 2.0
        return min(int(np.searchsorted(self.trace.time_s, moment - reach)), self.trace.time_s.size - 1)

    def raw_place(self, index: int) -> int:
        """Return a sample of the record that went into a sample of the trace."""
        return index if self.factor == 1 else int(np.searchsorted(self.raw.time_s, self.trace.time_s[index]))


def thin(trace: Trace) -> Thinned:
    """Return the record with as many neighbours averaged as its pulse allows; factor 1 when none may be.

    Averages end where a single edge is, so that it keeps its place.
    """
    light, size = trace.light_lx, trace.light_lx.size
    factor, height = _factor(trace)
    if factor < 2:
        return Thinned(trace, trace, 1, 0.0)
    skipped = size % factor
    blocks = np.arange(skipped, size, factor)
    noise = max(noise_of_differences(light), trace.quantum_lx / math.sqrt(12.0))
    change = np.maximum.reduceat(light, blocks) - np.minimum.reduceat(light, blocks)
    edges = np.flatnonzero(change > _STEEP * height + 9.0 * noise).tolist()
    if len(edges) > _EDGES:
        return Thinned(trace, trace, 1, 0.0)
    starts = _starts(light, factor, [skipped + factor * at for at in edges if not {at - 1, at + 1} & set(edges)])
    counts = np.diff(np.append(starts, size))
    time, mean = (np.add.reduceat(row, starts) / counts for row in (trace.time_s, light))
    quantum = 0.0 if noise >= DITHERED * trace.quantum_lx else trace.quantum_lx
    thinned = Trace(time, mean, quantum, trace.full_scale_lx)
    return Thinned(thinned, trace, factor, noise)


def _starts(light: Array, factor: int, blocks: list[int]) -> npt.NDArray[np.int64]:
    """Return the first sample of each average; a new one begins at the edge in each of the blocks that start there."""
    cuts = [0, *(_edge(light, block, factor) for block in blocks), light.size]
    parts = []
    for begin, end in pairwise(cuts):
        count = max(1, (end - begin) // factor)
        starts = begin + factor * np.arange(count)
        # what is left over goes into the average in the middle, away from both edges
        starts[(count + 1) // 2 :] += (end - begin) % factor if count > 1 else 0
        parts.append(starts)
    return np.concatenate(parts)


def _edge(light: Array, block: int, factor: int) -> int:
    """Return the first sample after the edge in a block: where the means on both sides differ most."""
    low = max(block - factor, 0)
    sums = np.cumsum(light[low : block + 2 * factor])
    before = np.arange(factor // 2, sums.size - factor // 2)
    apart = np.abs(sums[before - 1] / before - (sums[-1] - sums[before - 1]) / (sums.size - before))
    return low + int(before[np.argmax(apart)])


def _factor(trace: Trace) -> tuple[int, float]:
    """Return how many samples may be averaged, and the height of the pulse."""
    light, size = trace.light_lx, trace.light_lx.size
    if size < _LONG or float(np.ptp(np.diff(trace.time_s))) >= 1e-6 * float(trace.time_s[1] - trace.time_s[0]):
        return 1, 0.0
    edge = size // 40
    base = min(median(light[:edge]), median(light[-edge:]))
    height = float(light.max()) - base
    inside = int(np.count_nonzero(light > base + 0.5 * height))
    return min(size // _WANTED, inside // _INSIDE), height
