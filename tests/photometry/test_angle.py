"""Angular response: ideal, fit to turntable readings, error in stops, correction."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlink.photometry import angle


@pytest.mark.parametrize(
    ("receptor", "angle_deg", "expected"),
    [("dome", 0, 1), ("dome", 45, 0.8535534), ("dome", 60, 0.75), ("dome", 90, 0.5), ("dome", 180, 0),
     ("flat", 0, 1), ("flat", 60, 0.5), ("flat", 30, 0.8660254), ("flat", 120, 0)],
)  # fmt: skip
def test_ideal_response(receptor: str, angle_deg: float, expected: float) -> None:
    """Dome (1 + cos)/2 and flat cos, as r4photobiology's page on angular response tabulates them."""
    assert angle.ideal_response(receptor, angle_deg) == pytest.approx(expected, abs=1e-7)


def turntable(receptor: str, c1: float, c2: float, zero: float, noise: float, seed: int = 1) -> angle.AngleFit:
    """Return a fit to made-up readings of a receptor whose error is known."""
    rng = np.random.default_rng(seed)
    angles = (
        [-120, -90, -60, -30, 0, 30, 60, 90, 120] if receptor == "dome" else [-75, -60, -45, -30, 0, 30, 45, 60, 75]
    )
    s = 1 - np.cos(np.radians(np.array(angles) - zero))
    ideal = np.array([angle.ideal_response(receptor, a - zero) for a in angles])
    values = 900 * ideal * np.exp(c1 * s + c2 * s**2 + rng.normal(0, noise, len(angles)))
    return angle.fit_response(angles, values.tolist(), [max(noise, 1e-3)] * len(angles), receptor)


@pytest.mark.parametrize("receptor", ["dome", "flat"])
def test_exact_readings_give_back_error_and_zero(receptor: str) -> None:
    """Noise-free readings give back the receptor's error at every typical angle and the zero of the scale."""
    fit = turntable(receptor, -0.12, 0.03, 4.0, 0.0)
    assert fit.zero_deg == pytest.approx(4.0, abs=1e-4)
    for degrees, stops, _ in fit.error_stops:
        s = 1 - math.cos(math.radians(degrees))
        assert stops == pytest.approx((-0.12 * s + 0.03 * s * s) / math.log(2), abs=1e-6)
        assert angle.error_stops(fit.response, receptor, degrees) == pytest.approx(stops, abs=2e-3)


def test_ideal_receptors_have_index_zero_and_no_correction() -> None:
    """An ideal receptor has error index 0 and no error at every angle."""
    for receptor in ("dome", "flat"):
        fit = turntable(receptor, 0, 0, 0, 0.0)
        assert fit.error_index == pytest.approx(0, abs=1e-9)
        assert angle.error_stops(fit.response, receptor, 57) == pytest.approx(0, abs=1e-9)
        assert angle.error_stops((), receptor, 57) == 0


def test_flat_index_is_the_published_f2() -> None:
    """cos to the power 1.1 has f2 = 0.0456910, and a dome taken as flat 0.4166423 (ISO/CIE 19476, from memory)."""
    angles = np.arange(0, 86, 1.0)
    worse = [(float(a), math.cos(math.radians(a)) ** 1.1) for a in angles]
    assert angle.error_index(worse, "flat", 85.0) == pytest.approx(0.0456910, abs=2e-4)
    dome = [(float(a), (1 + math.cos(math.radians(a))) / 2) for a in angles]
    assert angle.error_index(dome, "flat", 85.0) == pytest.approx(0.4166423, rel=2e-3)


def test_stated_uncertainty_covers_the_error() -> None:
    """Over 200 noisy turntables the k=2 intervals of the error at 60° cover the truth in at least 93 %."""
    hits = 0
    for seed in range(200):
        fit = turntable("dome", 0.1, -0.05, 2.0, 0.02, seed)
        stops, u = next((e, u) for a, e, u in fit.error_stops if a == 60)
        hits += abs(stops - (0.1 * 0.5 - 0.05 * 0.25) / math.log(2)) <= 2 * u
    assert hits >= 186


@pytest.mark.parametrize(
    ("angles", "message"),
    [([0, 10, 20, 70], "five"), ([20, 30, 40, 50, 60], "axis"), ([0, 10, 20, 30, 40], "60 degrees")],
)
def test_too_few_angles_are_refused_in_words(angles: list[float], message: str) -> None:
    """Too few angles, none near the axis, none at the side: refused with what to do."""
    with pytest.raises(ValueError, match=message):
        angle.fit_response(angles, [1.0] * len(angles), [0.01] * len(angles), "dome")


def test_dark_angles_and_unknown_receptors_are_refused() -> None:
    """A value of zero has no logarithm, and only dome and flat are known."""
    with pytest.raises(ValueError, match="greater than 0"):
        angle.fit_response([0, 20, 40, 60, 80], [1, 1, 1, 1, 0], [0.01] * 5, "dome")
    with pytest.raises(ValueError, match="one of dome, flat"):
        angle.ideal_response("ball", 0)
    with pytest.raises(ValueError, match="sees nothing"):
        angle.error_stops((), "flat", 95)
    with pytest.raises(ValueError, match="between"):
        angle.ideal_response("dome", 200)
