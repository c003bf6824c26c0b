"""Fitting a measured falloff, against scipy's least squares and against truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from meterlink.photometry.falloff import FalloffFit, FalloffPoint, fit_falloff
from meterlink.photometry.sources import Disk, on_axis

DISTANCES = (0.6, 0.8, 1.0, 1.4, 2.0)


def shifted_points(shift: float, noise: float = 0.0, seed: int = 1) -> list[FalloffPoint]:
    """Readings of an inverse square whose origin lies behind the front."""
    rng = np.random.default_rng(seed)
    return [FalloffPoint(d, 7 - 2 * math.log2(d + shift) + noise * rng.normal(), 0.03) for d in DISTANCES]


def disk_points(radius: float, noise: float = 0.0, seed: int = 1, receptor: str = "dome") -> list[FalloffPoint]:
    """Readings of a uniform disk."""
    rng = np.random.default_rng(seed)
    light = lambda d: math.log2(on_axis(Disk(2 * radius), d, receptor)[0])  # noqa: E731
    return [FalloffPoint(d, 7 + light(d) + noise * rng.normal(), 0.03) for d in DISTANCES]


def test_recovers_what_made_the_readings() -> None:
    """Noise-free readings give back the law and its parameter."""
    bulb = fit_falloff(shifted_points(0.12))
    assert (bulb.law, bulb.parameter_m) == ("shifted", pytest.approx(0.12, abs=1e-6))
    assert max(abs(r) for r in bulb.residuals) < 1e-6
    box = fit_falloff(disk_points(0.45))
    assert (box.law, box.parameter_m) == ("disk", pytest.approx(0.45, abs=1e-5))
    flat = fit_falloff(disk_points(0.45, receptor="flat"), "flat")
    assert flat.parameter_m == pytest.approx(0.45, abs=1e-5)
    lens = fit_falloff(shifted_points(-0.2))
    assert lens.parameter_m == pytest.approx(-0.2, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("law", ["shifted", "disk"])
def test_agrees_with_scipy_least_squares(law: str, seed: int) -> None:
    """Parameter, level, chi-square and parameter uncertainty equal scipy's on the same weighted problem."""
    points = shifted_points(0.15, 0.03, seed) if law == "shifted" else disk_points(0.5, 0.03, seed)
    ours = fit_falloff(points)

    def model(d: float, p: float) -> float:
        if ours.law == "shifted":
            return -2 * math.log2(d + p)
        return math.log2(on_axis(Disk(2 * p), d)[0] / p**2)

    def residuals(x: np.ndarray) -> list[float]:
        return [(q.stops - x[0] - model(q.distance_m, x[1])) / q.u_stops for q in points]

    theirs = least_squares(residuals, [7.0, max(0.1, ours.parameter_m)], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    covariance = np.linalg.inv(theirs.jac.T @ theirs.jac)
    assert ours.parameter_m == pytest.approx(theirs.x[1], abs=1e-6)
    assert ours.level_stops == pytest.approx(theirs.x[0], abs=1e-6)
    assert ours.chi2 == pytest.approx(2 * theirs.cost, rel=1e-6)
    scale = max(1.0, math.sqrt(ours.chi2 / (len(points) - 2)))
    assert ours.u_parameter_m == pytest.approx(math.sqrt(covariance[1, 1]) * scale, rel=1e-4)


def test_intervals_cover_the_truth() -> None:
    """Over 300 noisy fits the change from 0.8 to 1.0 m lies within k=2 in at least 93 %."""
    inside = 0
    for seed in range(300):
        fit = fit_falloff(disk_points(0.45, 0.03, seed))
        truth = math.log2(on_axis(Disk(0.9), 1.0)[0] / on_axis(Disk(0.9), 0.8)[0])
        inside += abs(fit.change_stops(0.8, 1.0) - truth) <= 2 * fit.u_change_stops(0.8, 1.0)
    assert inside / 300 >= 0.93


def test_extrapolation_is_limited() -> None:
    """Outside the measured range the uncertainty grows, and the stated limits keep it at 0.1 stop (k=2)."""
    fit = fit_falloff(disk_points(0.45, 0.03))
    assert fit.low_m <= fit.near_m < fit.far_m <= fit.high_m
    for end, limit in ((fit.near_m, fit.low_m), (fit.far_m, fit.high_m)):
        assert 2 * fit.u_change_stops(end, limit) <= 0.1 + 1e-9
    assert fit.u_change_stops(0.6, 0.2) > fit.u_change_stops(0.6, 0.5)
    rough = fit_falloff([q._replace(u_stops=0.2) for q in disk_points(0.45, 0.03)])
    assert rough.high_m - rough.far_m <= fit.high_m - fit.far_m


def test_the_law_that_was_not_chosen_is_in_the_uncertainty() -> None:
    """By its weight: the variance grows by the weight times the square of how far apart the two laws are."""
    fit = fit_falloff([q._replace(u_stops=0.1) for q in disk_points(0.45, 0.03)])
    alone = fit._replace(other_weight=0.0).u_change_stops(0.6, 0.3)
    other = fit._replace(law={"disk": "shifted", "shifted": "disk"}[fit.law], parameter_m=fit.other_parameter_m)
    apart = other.change_stops(0.6, 0.3) - fit.change_stops(0.6, 0.3)

    assert fit.other_weight * apart**2 > 1e-4
    assert fit.u_change_stops(0.6, 0.3) == pytest.approx(math.hypot(alone, math.sqrt(fit.other_weight) * apart))


def test_survives_storage() -> None:
    """A fit comes back from plain data as it was; damaged data is refused."""
    import json

    fit = fit_falloff(disk_points(0.45, 0.03))
    assert FalloffFit.from_record(json.loads(json.dumps(fit.to_record()))) == fit
    good = fit.to_record()
    for bad in (
        {},
        {**good, "law": "cube"},
        {**good, "parameter_m": "x"},
        {**good, "points": 3},
        {**good, "level_stops": math.nan},
    ):
        with pytest.raises(ValueError, match="not a stored falloff"):
            FalloffFit.from_record(bad)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], "three or more"),
        (shifted_points(0.1)[:2], "2 distances"),
        ([FalloffPoint(1.0, 5.0)] * 5, "1 distance:"),
        ([FalloffPoint(d, -2 * math.log2(d)) for d in (1.0, 1.1, 1.2)], "span"),
        ([FalloffPoint(d, s) for d, s in zip(DISTANCES, (7, 5, 7.5, 4, 6), strict=True)], "scatter"),
        ([FalloffPoint(0.0, 1.0), *shifted_points(0.1)], "above 0"),
        ([FalloffPoint(1.0, math.nan), *shifted_points(0.1)], "stops"),
        ([FalloffPoint(1.0, 1.0, 0.0), *shifted_points(0.1)], "stops"),
    ],
)
def test_refusals(points: list[FalloffPoint], words: str) -> None:
    """Two points, scatter, one distance or impossible numbers give one clear line and no fit."""
    with pytest.raises(ValueError, match=words):
        fit_falloff(points)


def test_refuses_wrong_use() -> None:
    """An unknown receptor, too many points and a change to nowhere are refused."""
    with pytest.raises(ValueError, match="receptor"):
        fit_falloff(shifted_points(0.1), "globe")
    with pytest.raises(ValueError, match="at most 1,000"):
        fit_falloff(shifted_points(0.1) * 300)
    with pytest.raises(ValueError, match="above 0"):
        fit_falloff(shifted_points(0.1)).change_stops(1.0, 0.0)
