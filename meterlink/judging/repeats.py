"""Several pops of one light make one reading: averaged as exposures, with the spread kept and an outlier named."""

from __future__ import annotations

from collections.abc import Sequence
from math import log2, sqrt

from meterlink.records import Pop, Reading
from meterlink.words.told import NOTHING, Told, told

OUTLIER_STOPS = 0.15
"""A pop further than this from the median of at least three is named; nothing is ever dropped in silence."""


def averaged(reading: Reading) -> Reading:
    """Return the reading with the mean of its pops as its value.

    The mean is taken of exposures, not of stops or f-numbers: light adds.  The relative uncertainty from noise shrinks
    with the root of their number; the spread itself stays in ``pops`` and is judged from there.
    """
    pops = reading.pops
    n = len(pops)
    if n < 2:
        return reading
    mean = sum(p.exposure_lxs for p in pops) / n
    noise = sqrt(sum((p.exposure_lxs * p.u_rel) ** 2 for p in pops)) / n
    return reading._replace(
        exposure_lxs=mean,
        u_rel=noise / mean if mean > 0 else reading.u_rel,
        peak_lx=_mean([p.peak_lx for p in pops]),
        t05_s=_mean([p.t05_s for p in pops]),
        t01_s=_mean([p.t01_s for p in pops]),
        ambient_lx=_mean([p.ambient_lx for p in pops]),
    )


def outlier_note(pops: Sequence[Pop]) -> Told:
    """Name the pop that stands apart from the others; nothing when none does or there are fewer than three."""
    values = [p.exposure_lxs for p in pops]
    if len(values) < 3 or min(values) <= 0:
        return NOTHING
    median = sorted(values)[len(values) // 2]
    worst = max(range(len(values)), key=lambda i: abs(log2(values[i] / median)))
    off = log2(values[worst] / median)
    if abs(off) < OUTLIER_STOPS:
        return NOTHING
    return told("outlier_over" if off > 0 else "outlier_under", pop=worst + 1, pops=len(values), stops=off)


def _mean(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return sum(known) / len(known) if known else None
