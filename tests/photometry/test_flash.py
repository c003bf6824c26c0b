"""The careful analysis of one waveform: definitions, awkward pulses, bad input."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlink.photometry import flash

INTERVAL_S = 10e-6


def exponential(tau_s=1e-3, peak_lx=1e5, ambient_lx=200.0, before=200, length=2000, noise_lx=0.0, seed=1):
    """Samples of a pulse that rises at once halfway between two samples and decays exponentially."""
    time = (np.arange(length) - before + 0.5) * INTERVAL_S
    light = np.where(time > 0, peak_lx * np.exp(-np.clip(time, 0, None) / tau_s), 0.0) + ambient_lx
    return light + np.random.default_rng(seed).normal(0, noise_lx, length) if noise_lx else light


def test_exponential_pulse_has_its_closed_form_durations():
    """t0.5 is tau ln 2, t0.1 is tau ln 10, the exposure peak times tau, the ambient light what it was."""
    pulse = flash.analyse(exponential(), INTERVAL_S)

    assert pulse.kind == "flash"
    assert pulse.t05_s == pytest.approx(1e-3 * math.log(2), rel=2e-3)
    assert pulse.t01_s == pytest.approx(1e-3 * math.log(10), rel=2e-3)
    assert pulse.exposure_lxs == pytest.approx(100.0, rel=2e-3)
    assert pulse.peak_lx == pytest.approx(1e5, rel=2e-3)
    assert pulse.ambient_lx == pytest.approx(200.0, rel=1e-6)
    assert not pulse.clipped
    assert not pulse.truncated


def test_plain_lists_and_arrays_and_sample_times_agree():
    """A list, an array, a list of times and segments of one interval give the same result."""
    light = exponential(noise_lx=500.0)
    expected = flash.analyse(light, INTERVAL_S)

    assert flash.analyse(light.tolist(), INTERVAL_S) == expected
    for interval in ([(500, INTERVAL_S), (1500, INTERVAL_S)], np.arange(2000) * INTERVAL_S):
        other = flash.analyse(light, interval)
        assert other.exposure_lxs == pytest.approx(expected.exposure_lxs, rel=1e-9)
        assert other.t01_s == pytest.approx(expected.t01_s, rel=1e-6)
