"""Long records: neighbours are averaged where there are samples to spare, and nothing is lost by it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlink.photometry import flash
from meterlink.photometry.flash import input as flash_input

STEP_S = 1e-7
SIZE = 60_000


def record(shape, noise_lx=500.0, seed=1, size=SIZE):
    """Samples of a shape (a function of time after the trigger) of 1e5 lx on 300 lx."""
    time = (np.arange(size) - size // 10 + 0.37) * STEP_S
    return 1e5 * shape(time) + 300.0 + np.random.default_rng(seed).normal(0.0, noise_lx, size)


def decay(time, tau_s=6e-4):
    """Exponential that starts at once."""
    return np.where(time >= 0, np.exp(-np.clip(time, 0, None) / tau_s), 0.0)


def bell(time):
    """Gaussian of width 0.5 ms, two milliseconds after the trigger."""
    return np.exp(-(((time - 2e-3) / 5e-4) ** 2) / 2)


@pytest.mark.parametrize(
    ("shape", "truth"),
    [
        (decay, (60.0, 6e-4 * math.log(2), 6e-4 * math.log(10))),
        (bell, (50 * math.sqrt(2 * math.pi), 1e-3 * math.sqrt(2 * math.log(2)), 1e-3 * math.sqrt(2 * math.log(10)))),
    ],
)
@pytest.mark.parametrize("noise_lx", [30.0, 1000.0, 5000.0])
def test_averaged_records_hold_the_truth_within_their_uncertainty(shape, truth, noise_lx):
    """The closed forms lie within three stated uncertainties, and these are below one per cent up to 26 dB."""
    light = record(shape, noise_lx)
    assert flash_input.thin(flash_input.check(light, STEP_S)).factor > 1

    pulse = flash.analyse(light, STEP_S)

    assert pulse.kind == "flash"
    assert pulse.noise_lx == pytest.approx(noise_lx, rel=0.1)
    stated = (pulse.u_exposure_lxs, pulse.u_t05_s, pulse.u_t01_s)
    for value, u, exact in zip((pulse.exposure_lxs, pulse.t05_s, pulse.t01_s), stated, truth, strict=True):
        assert abs(value - exact) < 3.0 * u
        assert u < 0.01 * exact


def test_an_edge_keeps_its_place():
    """Without noise an instant rise is placed to a sample, not to an average of many."""
    pulse = flash.analyse(record(decay, 1.0), STEP_S)

    rise_s = (SIZE // 10 - 0.37) * STEP_S
    assert pulse.start_s == pytest.approx(rise_s, abs=STEP_S)
    assert pulse.t05_s == pytest.approx(6e-4 * math.log(2), abs=2 * STEP_S)


def test_trains_and_narrow_pulses_are_left_alone():
    """What is as short as an average would be is analysed sample by sample."""
    train = record(lambda t: np.where((t > 0) & (t < 4e-3), np.abs(np.sin(math.pi * 50e3 * t)), 0.0))
    narrow = record(lambda t: decay(t, 1e-5))

    for light in (train, narrow):
        assert flash_input.thin(flash_input.check(light, STEP_S)).factor == 1
    found = flash.analyse(train, STEP_S)
    assert (found.kind, found.pulse_count) == ("train", 200)
    assert found.exposure_lxs / 4e-3 == pytest.approx(2e5 / math.pi, rel=0.01)
    assert flash.analyse(narrow, STEP_S).exposure_lxs == pytest.approx(1.0, rel=0.1)


def test_clipping_of_a_few_samples_is_told():
    """Ten clipped samples among sixty thousand are not averaged away."""
    light = record(bell, 100.0)
    top = float(np.sort(light)[-10])

    pulse = flash.analyse(np.minimum(light, top), STEP_S, full_scale_lx=top)

    assert pulse.clipped
    assert pulse.peak_bounds_lx[0] <= 1.001 * pulse.peak_bounds_lx[1]


def test_noise_of_many_samples_is_no_train():
    """Sixty thousand samples of a pulse narrow in the record, at 30 dB, are one flash."""
    light = record(lambda t: decay(t, 1e-5), 3000.0)

    assert flash.analyse(light, STEP_S).kind == "flash"


def test_steady_light_of_many_samples_is_steady():
    """A long flat record has its mean, and the noise of one sample."""
    pulse = flash.analyse(record(lambda t: 0 * t, 20.0), STEP_S)

    assert pulse.kind == "steady"
    assert pulse.mean_lx == pytest.approx(300.0, abs=1.0)
    assert pulse.noise_lx == pytest.approx(20.0, rel=0.1)
