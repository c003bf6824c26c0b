"""Pulse trains with few quiet samples around them: a train, or "cannot tell", never steady light without exposure."""

from __future__ import annotations

import numpy as np
import pytest

from meterlink.photometry import flash
from meterlink.records import Calibration, RangeScale, Segment, Trouble, WaveBlock
from meterlink.sensor.measuring.flash import measure

INTERVAL_S = 13e-6


def codes_of(frequency_hz: float, kind: str, quiet: tuple[int, int], seed: int) -> np.ndarray:
    """Return 1024 codes of 8 bits of a train that leaves so many samples quiet before and after it."""
    rng = np.random.default_rng(seed)
    turn = ((np.arange(1024) + rng.uniform()) * INTERVAL_S * frequency_hz + rng.uniform()) % 1.0
    light = {"half sines": np.abs(np.sin(np.pi * turn)), "decays": np.exp(-6.0 * turn), "squares": (turn < 0.5) * 1.0}[kind]
    light[: quiet[0]] = 0.0
    light[1024 - quiet[1] :] = 0.0
    return np.clip(np.floor((0.6 * light + 0.03 + rng.normal(0.0, 0.004, 1024)) * 256), 0, 255).astype(np.uint8)


def answer_of(codes: np.ndarray) -> tuple[str, float]:
    """Return what the codes are, or why that cannot be told, and the exposure (infinite when refused)."""
    try:
        pulse = flash.analyse_counts(codes, 1 / 256, INTERVAL_S, zero_code=-0.5, full_scale_code=255)
    except flash.NoPulse as why:
        return why.why, float("inf")
    return pulse.kind, pulse.exposure_lxs


@pytest.mark.parametrize("kind", ["half sines", "decays", "squares"])
@pytest.mark.parametrize("frequency_hz", [500.0, 1010.0, 3300.0, 13550.0, 19300.0, 26500.0, 47500.0])
def test_a_train_with_few_quiet_samples_is_never_steady(kind: str, frequency_hz: float) -> None:
    """Named a train with its exposure, or refused with "cannot tell" or as not quiet; steady light with exposure 0 it is not."""
    for seed, quiet in enumerate([(0, 0), (2, 9), (5, 5), (9, 1), (11, 6), (7, 0)]):
        codes = codes_of(frequency_hz, kind, quiet, seed)
        answer, exposure = answer_of(codes)
        assert answer in ("train", "flash", flash.CANNOT_TELL, flash.NO_QUIET, flash.LAMP)
        assert exposure > 0.0


def test_a_refused_train_says_its_reason() -> None:
    """The measurement is refused as one that cannot be told, in words, not as dark."""
    block = WaveBlock(1.0, 1, codes_of(19300.0, "squares", (7, 0), 1).tobytes(), 8, 8, (Segment(0, 1024, INTERVAL_S),), 5)
    found = measure(block, "s", Calibration("c", "s", 0.0, 330.0, ranges=(RangeScale(2e6, 0.02),)))

    assert found.trouble is Trouble.CANNOT_TELL
    assert str(found.note).startswith("cannot tell: the light pulses")


@pytest.mark.parametrize(("level", "noise"), [(0.02, 0.0005), (0.02, 0.005), (0.2, 0.002), (0.2, 0.05), (0.9, 0.01)])
def test_noise_is_no_pulsing_light(level: float, noise: float) -> None:
    """Steady light stays steady in any noise, and so does the dark on one or two codes."""
    for seed in range(10):
        codes = np.clip(np.floor((level + np.random.default_rng(seed).normal(0.0, noise, 1024)) * 256), 0, 255)
        assert flash.analyse_counts(codes, 1 / 256, INTERVAL_S, zero_code=-0.5).kind == "steady"
