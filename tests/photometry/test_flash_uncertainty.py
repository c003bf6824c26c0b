"""The stated uncertainties hold: seeded pops of known truth at 40 samples inside t0.1 and 40 dB."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlink.photometry import flash

FALL_RISE = 0.2
TOP_AT = math.log(1 / FALL_RISE) * FALL_RISE / (1 - FALL_RISE)
TOP = math.exp(-TOP_AT) - math.exp(-TOP_AT / FALL_RISE)


def gaussian(t):
    """Gaussian of width 1."""
    return np.exp(-t * t / 2)


def double(t):
    """Double exponential of rise 0.2 and fall 1, peak 1."""
    x = np.clip(t, 0, 700)
    return np.where(t >= 0, (np.exp(-x) - np.exp(-x / FALL_RISE)) / TOP, 0.0)


@pytest.mark.parametrize(
    ("shape", "start", "end", "truth"),
    [
        (gaussian, -4, 4, (math.sqrt(2 * math.pi), 2.354820, 4.291932)),
        (double, 0, 9, ((1 - FALL_RISE) / TOP, 1.227232, 2.914136)),
    ],
)
def test_intervals_cover_the_truth_and_are_not_wide(shape, start, end, truth):
    """Errors within the goals; k=2 intervals hold the truth in nine of ten pops or more and are at most 1.5 x the scatter."""
    rng = np.random.default_rng(20)
    step = truth[2] / 40.37
    errors, stated = [], []
    for _ in range(120):
        count = 256 + math.ceil((end - start) / step)
        time = start + (np.arange(count) - 128 + rng.uniform()) * step
        codes = np.floor((0.6 * shape(time) + 0.13 + rng.normal(0, 0.006, count)) * 4096)
        pop = flash.analyse_counts(codes, 1 / 4096, step, zero_code=-0.5, full_scale_code=4095)
        exact = np.array([0.6 * truth[0], truth[1], truth[2]])
        errors.append(np.array([pop.exposure_lxs, pop.t05_s, pop.t01_s]) / exact - 1)
        stated.append(np.array([pop.u_exposure_lxs, pop.u_t05_s, pop.u_t01_s]) / exact)
    errors, stated = np.array(errors), np.array(stated)
    rms = np.sqrt((errors**2).mean(axis=0))

    assert rms[0] < 2**0.02 - 1
    assert (rms[1:] < 0.025).all()
    # 120 pops: 0.93 less twice its own chance of 0.023
    assert ((np.abs(errors) <= 2 * stated).mean(axis=0) >= 0.885).all()
    assert (np.sqrt((stated**2).mean(axis=0)) <= 1.5 * rms).all()
