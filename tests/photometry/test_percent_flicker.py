"""Percent flicker by the IES definition, of lamps whose flicker is known, through a converter with noise and steps."""

from __future__ import annotations

from math import pi, sin
from random import Random

import pytest

from meterlink.photometry.percent_flicker import percent_flicker


def windows(mean: float, depth: float, noise: float, seed: int = 1) -> tuple[list[float], list[float]]:
    """Ten windows of a tenth of a second in codes of ten bits: 2,000 samples each of a lamp at 100 Hz."""
    random = Random(seed)
    means, modulations = [], []
    for _ in range(10):
        codes = [
            int(mean * (1.0 + depth * sin(2.0 * pi * 100.0 * i * 50e-6)) + random.gauss(0.0, noise) + 20.0) - 19.5
            for i in range(2000)
        ]
        means.append(sum(codes) / len(codes))
        modulations.append((max(codes) - min(codes)) / (max(codes) + min(codes)))
    return means, modulations


@pytest.mark.parametrize("noise", [0.03, 0.5, 2.0])
@pytest.mark.parametrize("depth", [0.1, 0.3])
@pytest.mark.parametrize("mean", [60.0, 200.0])
def test_known_flicker_is_found_again(mean: float, depth: float, noise: float) -> None:
    """(max - min) / (max + min) of 1 + d sin is d: 10 % and 30 %, within three times what is stated."""
    percent, u = percent_flicker(*windows(mean, depth, noise), step=1.0)

    assert abs(percent - 100.0 * depth) < 3.0 * u + 1.0
    assert u < 100.0 * 2.5 / mean


@pytest.mark.parametrize("seed", range(5))
def test_noise_alone_is_no_flicker(seed: int) -> None:
    """A steady lamp of 20 codes with noise of 2 swings by 30 % as read; nothing of it stands above its uncertainty."""
    means, modulations = windows(20.0, 0.0, 2.0, seed)
    percent, u = percent_flicker(means, modulations, step=1.0)

    assert min(modulations) > 0.25
    assert percent < 2.0 * u or percent < 5.0


def test_too_few_windows_say_nothing() -> None:
    """How much of a swing is noise is seen from window to window only."""
    assert percent_flicker([100.0] * 3, [0.1] * 3) is None
