"""Analytic pulses as a sensor would sample them: shapes with exact exposure and durations, noise, quantisation, random phase."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


class Shape(NamedTuple):
    """A pulse of peak 1 and its exact figures, in units of its own time."""

    light: Callable[[Array], Array]
    start: float
    end: float
    """Beyond them less than a thousandth of the light is left."""
    exposure: float
    t05: float
    t01: float
    instant: bool = False
    """Rises at once: half a sample of its start can never be known."""


def _decay(t: Array) -> Array:
    return np.where(t >= 0, np.exp(-np.clip(t, 0, 700)), 0.0)


def _double(rise: float) -> tuple[Callable[[Array], Array], float]:
    top_at = math.log(1 / rise) * rise / (1 - rise)
    top = math.exp(-top_at) - math.exp(-top_at / rise)

    def light(t: Array) -> Array:
        x = np.clip(t, 0, 700)
        return np.where(t >= 0, (np.exp(-x) - np.exp(-x / rise)) / top, 0.0)

    return light, (1 - rise) / top


def _train(pulses: int) -> Callable[[Array], Array]:
    """Half sines, one after another, each one unit long."""
    return lambda t: np.where((t > 0) & (t < pulses), np.abs(np.sin(np.pi * t)), 0.0)


def shapes() -> dict[str, Shape]:
    """Return the shapes; closed forms except for the widths of the double exponential (bisection, to 1e-9)."""
    fast, fast_area = _double(0.05)
    slow, slow_area = _double(0.2)
    root = math.sqrt(2)
    return {
        "exponential": Shape(_decay, 0, 8, 1.0, math.log(2), math.log(10), True),
        "double exp. rise .05": Shape(fast, 0, 8, fast_area, 0.873675, 2.507074, True),
        "double exp. rise .2": Shape(slow, 0, 9, slow_area, 1.227232, 2.914136),
        "gaussian": Shape(
            lambda t: np.exp(-t * t / 2), -4, 4, math.sqrt(2 * math.pi),
            2 * root * math.sqrt(math.log(2)), 2 * root * math.sqrt(math.log(10)),
        ),
        "trapezoid": Shape(lambda t: np.clip(np.minimum(t / 0.25, (1.5 - t) / 0.25), 0, 1), 0, 1.5, 1.25, 1.25, 1.45),
        "cut-off exponential": Shape(
            lambda t: np.where(t < 0.8, _decay(t), 0.0), 0, 0.8, 1 - math.exp(-0.8), math.log(2), 0.8, True
        ),
        "train of half sines": Shape(_train(8), 0, 8, 16 / math.pi, 8 - 1 / 3, 8 - 2 * math.asin(0.1) / math.pi),
    }  # fmt: skip


def sampled(
    shape: Shape, samples_in_t01: int, snr_db: float, bits: int, rng: np.random.Generator, peak: float = 0.6
) -> tuple[npt.NDArray[np.int64], float]:
    """Return (codes, sample interval) of one pulse on an ambient of 0.13 of full scale, at a random phase.

    128 or more quiet samples before and after; noise 10**(-snr/20) of the peak before the converter truncates.
    """
    # a sensor's clock knows nothing of the pulse: no whole number of samples fits it
    step = shape.t01 / (samples_in_t01 + 0.37)
    quiet = max(128, samples_in_t01)
    count = 2 * quiet + math.ceil((shape.end - shape.start) / step)
    time = shape.start + (np.arange(count) - quiet + rng.uniform()) * step
    raw = peak * shape.light(time) + 0.13 + rng.normal(0.0, peak * 10 ** (-snr_db / 20), count)
    return np.clip(np.floor(raw * 2**bits), 0, 2**bits - 1).astype(np.int64), step
