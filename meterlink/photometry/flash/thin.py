"""Long records made short before they are looked at closely: neighbours averaged where a pulse has samples to spare.

Averages keep the integral and every level; with 150 of them or more above half of the peak the curve inside one is far below
any other error.  Records in which anything is as short as an average (a train, a narrow pulse) are left alone.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from meterlink.photometry.flash.input import Array, Trace, median, noise_of_differences

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
    if size < _LONG or not trace.even:
        return 1, 0.0
    edge = size // 40
    base = min(median(light[:edge]), median(light[-edge:]))
    height = float(light.max()) - base
    inside = int(np.count_nonzero(light > base + 0.5 * height))
    return min(size // _WANTED, inside // _INSIDE), height
