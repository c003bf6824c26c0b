"""Percent flicker of steady light from the smallest and largest sample of some windows, with the noise taken out.

(max - min) / (max + min), the definition of the IES Lighting Handbook (from memory).  Noise alone widens a window: of a thousand
samples the extremes lie 3.2 standard deviations on either side, which on a dim light looks like flicker.  How much of it there is
is seen from window to window: flicker of the mains repeats, the extremes of noise do not.  Pure formulas.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import erfc, hypot, pi, sin, sqrt
from statistics import NormalDist, fmean, stdev

SAMPLES = 2000
"""Samples in a window of a tenth of a second; twice or half as many move an extreme by a fifteenth."""
SPREAD_OF_RANGE = 0.5
"""Standard deviation of the range of so many normal samples, in theirs (tables of d3 go on to about this; from memory)."""
LEAST_WINDOWS = 8
PHASES = 32
BELOW = 0.5615
"""exp(-Euler's constant): the expected extreme of n samples is exceeded with this chance over n."""


def percent_flicker(means: Sequence[float], modulations: Sequence[float], step: float = 0.0) -> tuple[float, float] | None:
    """Return (percent flicker, its standard uncertainty in percent) of steady light; None for too few windows or no light.

    ``means`` and ``modulations`` are those of each window, the latter (max - min) / (max + min) with noise; ``step`` is a step of
    the converter in the unit of the means.  A sine is assumed for how often the light is near its extremes.
    """
    mean = fmean(means) if len(means) >= LEAST_WINDOWS else 0.0
    if not mean > 0.0 or len(means) != len(modulations):
        return None
    halves = [one * level for one, level in zip(modulations, means, strict=True)]
    noise = 2.0 * stdev(halves) / SPREAD_OF_RANGE
    amplitude = _amplitude(fmean(halves), noise)
    extreme = NormalDist().inv_cdf(1.0 - BELOW / SAMPLES)
    u_noise = extreme * noise / sqrt(2.0 * (len(halves) - 1))
    return 100.0 * amplitude / mean, 100.0 * hypot(u_noise, step / sqrt(12.0)) / mean


def _amplitude(half_range: float, noise: float) -> float:
    """Of a sine whose extremes with this noise lie so far from its mean."""
    low, high = 0.0, half_range
    if noise <= 0.0:
        return high
    for _ in range(30):
        middle = (low + high) / 2.0
        beyond = fmean(erfc((half_range - middle * sin(2.0 * pi * i / PHASES)) / (noise * sqrt(2.0))) / 2.0 for i in range(PHASES))
        low, high = (low, middle) if beyond > BELOW / SAMPLES else (middle, high)
    return low
