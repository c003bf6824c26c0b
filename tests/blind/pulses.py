"""Pulses of the blind suite: shapes of flash tubes drawn at random, each with exposure 1 by its own sum over fine steps."""

from __future__ import annotations

import numpy as np

from tests.blind.bytes_of_sensor import BITS, FULL_SCALE_LX, REST

INTERVAL_S = 12e-6
PRETRIGGER = 90
SAMPLES = 1100
FINE = 20
"""Steps of a pulse inside one sample interval: a converter's sample is the light at one moment between them."""
WEAKEST, FITS = 0.05, 0.93
"""Parts of the sensitive range's and of any range's full scale between which a peak can be read well."""
KINDS = ("decay", "rounded", "shoulder", "cut")


def shape(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    """One pulse over the times t (s, 0 = it begins), of any height."""
    kind = KINDS[rng.integers(len(KINDS))]
    decay, rise = np.exp(rng.uniform(np.log(2e-4), np.log(1.3e-3))), rng.uniform(2e-5, 9e-5)
    on = np.where(t > 0, t, 0.0)
    light = (1 - np.exp(-on / rise)) * np.exp(-on / decay)
    if kind == "rounded":
        light = (on / decay) ** 0.6 * np.exp(-on / decay)
    elif kind == "shoulder":
        light = light + rng.uniform(0.1, 0.5) * np.exp(-(((on - 1.5 * decay) / (0.5 * decay)) ** 2)) * (t > 0)
    elif kind == "cut":
        light = light / (1 + np.exp(np.minimum((on - rng.uniform(0.5, 2.0) * decay) / 1.2e-5, 500.0)))
    return light * (t > 0)


def codes(rng: np.random.Generator, exposure_lxs: float) -> tuple[int, list[int]]:
    """(range, converter's codes) of a pulse with this exposure, on the more sensitive range where it fits.

    Room light of 20 to 200 lx lies under it; noise is 0.5 to 1.5 codes.
    """
    late = rng.uniform(0, 1)
    fine = (np.arange((SAMPLES - PRETRIGGER) * FINE) / FINE - late) * INTERVAL_S
    light_lx = np.zeros(1)
    while not WEAKEST * FULL_SCALE_LX[1] < light_lx.max() < FITS * FULL_SCALE_LX[0]:
        # She set the power so that the sensor can read it; the shapes are as long as that takes.
        seen = shape(rng, fine)
        light_lx = exposure_lxs * seen / (seen.sum() * INTERVAL_S / FINE)
    sampled = np.concatenate([np.zeros(PRETRIGGER), light_lx[::FINE]])
    index = 1 if light_lx.max() < FITS * FULL_SCALE_LX[1] else 0
    raw = REST + (sampled + rng.uniform(20, 200)) / FULL_SCALE_LX[index]
    noisy = raw * 2**BITS + rng.uniform(0.5, 1.5) * rng.normal(size=len(raw))
    return index, [int(one) for one in np.clip(np.floor(noisy), 0, 2**BITS - 1)]
