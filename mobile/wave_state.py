"""The curve of a captured flash as points of the screen.  No kivy."""

from __future__ import annotations

from itertools import accumulate

from meterlink.records import WaveBlock

WAVE_POINTS = 160


def wave_points(block: WaveBlock | None, count: int = WAVE_POINTS) -> tuple[tuple[float, float], ...]:
    """Return at most ``count`` points of a captured flash, time and light from 0 to 1.

    Each point is the highest sample of its slot, so that a short peak is never dropped; time is true also where the
    sample interval changes within the block.
    """
    if block is None or block.bits not in (8, 16):
        return ()
    width = block.bits // 8
    total = len(block.data) // width
    if total < 2:
        return ()
    values = memoryview(block.data[: total * width]).cast("B" if width == 1 else "H")
    high = max(values) or 1
    times = _times(block, total)
    end = times[-1] or 1.0
    step = max(1, -(-total // count))
    points = []
    for first in range(0, total, step):
        best = max(range(first, min(first + step, total)), key=values.__getitem__)
        points.append((times[best] / end, values[best] / high))
    return tuple(points)


def _times(block: WaveBlock, total: int) -> list[float]:
    """Time of each sample in seconds from the first."""
    intervals = [segment.sample_interval_s or 1.0 for segment in block.segments for _ in range(min(segment.sample_count, total))]
    intervals += [intervals[-1] if intervals else 1.0] * (total - len(intervals))
    return list(accumulate(intervals[: total - 1], initial=0.0))
