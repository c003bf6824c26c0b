"""Fits behind a calibration: weighted least squares, repeatability, the scale of a range, the law of distance.

Our own small solver (a QR decomposition of the whitened design matrix) instead of a library: every figure that a
calibration states can be followed here, and scipy serves as the oracle of the tests.  Natural logarithms are used
inside, since a calibration is a factor; ``STOPS`` turns them into stops.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
ArrayLike = Sequence[float] | Array

STOPS = 1 / math.log(2)
"""Stops per unit of natural logarithm: a relative deviation of 1 % is 0.0144 stop."""


class Fit(NamedTuple):
    """Result of a weighted least-squares fit of ``y = design @ parameters``."""

    parameters: Array
    covariance: Array
    """From the stated uncertainties alone; multiply by ``birge**2`` to let the scatter speak."""
    residuals: Array
    """Measured minus fitted, in units of y."""
    chi_square: float
    degrees: int
    """Degrees of freedom: points minus parameters."""

    @property
    def birge(self) -> float:
        """Square root of chi-square per degree of freedom; 1 or less when the points agree as well as they claim."""
        return math.sqrt(self.chi_square / self.degrees) if self.degrees else 0.0

    @property
    def standard_uncertainties(self) -> Array:
        """Standard uncertainty of each parameter, from the stated uncertainties."""
        return np.sqrt(np.diag(self.covariance))


def weighted_fit(design: ArrayLike, y: ArrayLike, u_y: ArrayLike) -> Fit:
    """Fit ``y = design @ parameters`` with standard uncertainties ``u_y`` of the independent points.

    ``design``: one row a point, one column a parameter; ``u_y`` > 0 in the unit of the measured values ``y``.

    Raises ValueError: shapes that do not fit, fewer points than parameters, values that are not finite, uncertainties that are not
    positive, or columns that cannot be told apart.
    """
    a = np.atleast_2d(np.asarray(design, dtype=np.float64))
    values, sigma = np.asarray(y, dtype=np.float64), np.asarray(u_y, dtype=np.float64)
    _check_points(a, values, sigma)
    q, r = np.linalg.qr(a / sigma[:, None])
    diagonal = np.abs(np.diag(r))
    if diagonal.min() <= 1e-12 * max(diagonal.max(), 1e-300):
        raise ValueError("the points do not tell the parameters apart: vary what was set (level, distance, angle)")
    inverse = np.linalg.inv(r)
    parameters = inverse @ (q.T @ (values / sigma))
    residuals = values - a @ parameters
    chi_square = float(np.sum((residuals / sigma) ** 2))
    return Fit(parameters, inverse @ inverse.T, residuals, chi_square, len(values) - a.shape[1])


def _check_points(a: Array, values: Array, sigma: Array) -> None:
    if a.shape[0] != len(values) or values.shape != sigma.shape or values.ndim != 1:
        raise ValueError("design, y and u_y need one row for each point")
    if a.shape[0] < a.shape[1]:
        raise ValueError(f"{a.shape[1]} parameters need at least {a.shape[1]} points, there are {a.shape[0]}")
    if not (np.isfinite(a).all() and np.isfinite(values).all()):
        raise ValueError("points must be finite numbers")
    if not (np.isfinite(sigma).all() and (sigma > 0).all()):
        raise ValueError("standard uncertainties must be finite and greater than 0")


def weighted_line(x: ArrayLike, y: ArrayLike, u_y: ArrayLike) -> Fit:
    """Fit ``y = parameters[0] + parameters[1] * x``."""
    xs = np.asarray(x, dtype=np.float64)
    return weighted_fit(np.stack([np.ones_like(xs), xs], axis=1), y, u_y)


def weighted_mean(values: ArrayLike, u: ArrayLike) -> Fit:
    """Return the weighted mean as a fit of one parameter."""
    return weighted_fit(np.ones((len(values), 1)), values, u)


def chi_square_excess(chi_square: float, degrees: int) -> float:
    """Say by how many standard deviations of a normal variable a chi-square is too large.

    Wilson and Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684: the cube root of chi-square per degree is nearly normal.
    3 is a chance of about one in 700 that points which claim the truth about their uncertainty scatter so much.
    """
    if degrees < 1:
        return 0.0
    spread = 2 / (9 * degrees)
    return float(((chi_square / degrees) ** (1 / 3) - (1 - spread)) / math.sqrt(spread))


class TypeA(NamedTuple):
    """What repeated readings of one thing say (GUM 4.2)."""

    mean: float
    spread: float
    """Experimental standard deviation of one reading."""
    u_mean: float
    """Standard uncertainty of the mean, widened for few readings."""
    readings: int


def repeatability(values: ArrayLike) -> TypeA:
    """Return mean, spread and the uncertainty of the mean of repeated readings.

    The uncertainty is that of the scaled and shifted t distribution, s/sqrt(n) * sqrt((n-1)/(n-3)) (JCGM 101:2008, 6.4.9.4), so
    that k=2 keeps its meaning for few readings; below four readings, where it does not exist, s/sqrt(n) times half of Student's
    factor at 95 % (12.706 and 4.303 for two and three).  Raises ValueError: fewer than two readings, or not finite.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or len(x) < 2 or not np.isfinite(x).all():
        raise ValueError("repeatability needs at least two finite readings")
    n = len(x)
    spread = float(x.std(ddof=1))
    widening = {2: 12.706 / 2, 3: 4.303 / 2}.get(n) or math.sqrt((n - 1) / (n - 3))
    return TypeA(float(x.mean()), spread, spread / math.sqrt(n) * widening, n)


class ScaleFit(NamedTuple):
    """Light per raw value of one range, from pairs with a reference."""

    log_scale: float
    """Natural logarithm of light / raw."""
    u_log_scale: float
    """Standard uncertainty of it without what all pairs share; widened when the pairs scatter more than they claim."""
    residuals_stops: Array
    """How much brighter the reference says than the fit, in stops, in the order of the pairs."""
    excess: float
    """``chi_square_excess`` of the pairs about one common scale."""
    worst: int
    """Index of the pair that lies farthest off, in its own uncertainty."""
    worst_sigmas: float
    bend: float = 0.0
    """Relative change of the scale from an empty to a full range, as far as the pairs tell (0 when too few)."""
    u_bend: float = math.inf


def fit_scale(raw: ArrayLike, light: ArrayLike, u_rel: ArrayLike, levels: Sequence[float]) -> ScaleFit:
    """Fit one factor to pairs of raw value (dark already subtracted) and reference light.

    The relative residuals are what a photographer sees, so the fit is one of logarithms: a weighted mean of ln(light / raw).  The
    bend is the slope of the residuals over ``levels``, how far up the range each pair reached (for pops that is not their
    exposure): a sensor that saturates softly shows a positive bend.  Raises ValueError: fewer than two pairs, or values that are
    not positive.
    """
    x, y, u = (np.asarray(v, dtype=np.float64) for v in (raw, light, u_rel))
    if len(x) < 2 or not ((x > 0).all() and (y > 0).all()):
        raise ValueError("a scale needs at least two pairs, raw value and light both greater than 0")
    logs = np.log(y / x)
    mean = weighted_mean(logs, u)
    sigmas = np.abs(mean.residuals) / u
    fit = ScaleFit(
        log_scale=float(mean.parameters[0]),
        u_log_scale=float(mean.standard_uncertainties[0]) * max(1.0, mean.birge),
        residuals_stops=mean.residuals * STOPS,
        excess=chi_square_excess(mean.chi_square, mean.degrees),
        worst=int(np.argmax(sigmas)),
        worst_sigmas=float(sigmas.max()),
    )
    if len(levels) < 3 or max(levels) - min(levels) < 0.1:
        return fit
    line = weighted_line(levels, mean.residuals, u)
    return fit._replace(bend=float(line.parameters[1]), u_bend=float(line.standard_uncertainties[1]) * max(1.0, line.birge))


class DistanceFit(NamedTuple):
    """Readings of a bare bulb over distance: light = I / (d + origin)**2."""

    origin_m: float
    """What must be added to the measured distances; 0 when dome plane and lamp are marked right.  Positive: the sensor
    sits deeper than its mark, or the lamp behind its own."""
    u_origin_m: float
    residuals_stops: Array


def fit_inverse_square(distance_m: ArrayLike, light: ArrayLike, u_rel: ArrayLike) -> DistanceFit:
    """Fit the inverse-square law with a shifted origin to readings of a small lamp.

    Gauss-Newton on ln(light) = ln(I) - 2 ln(d + origin), from origin 0.  Raises ValueError: fewer than four distances, distances
    within a factor 1.5, or values that are not positive.
    """
    d, e, u = (np.asarray(v, dtype=np.float64) for v in (distance_m, light, u_rel))
    if len(np.unique(d)) < 4 or not ((d > 0).all() and (e > 0).all()):
        raise ValueError("the inverse-square test needs readings at four or more distances, all greater than 0")
    if d.max() < 1.5 * d.min():
        raise ValueError("the distances lie within a factor 1.5 of each other: go from near to at least twice as far")
    logs, origin = np.log(e), 0.0
    for _ in range(30):
        shifted = d + origin
        design = np.stack([np.ones_like(d), -2 / shifted], axis=1)
        fit = weighted_fit(design, logs + 2 * np.log(shifted), u)
        # A step that would put the lamp inside the dome is cut short.
        step = max(float(fit.parameters[1]), -0.5 * float(shifted.min()))
        origin += step
        if abs(step) < 1e-9:
            break
    return DistanceFit(
        origin_m=origin,
        u_origin_m=float(fit.standard_uncertainties[1]) * max(1.0, fit.birge),
        residuals_stops=fit.residuals * STOPS,
    )


def combine_ranges(
    range_count: int,
    scales: dict[int, tuple[float, float]],
    overlaps: Sequence[tuple[int, int, float, float]],
) -> tuple[Array, Array]:
    """Reconcile the ranges' own scales with what both saw of the same light; return ln scale of every range and its covariance.

    ``scales``: range -> (ln scale, its standard uncertainty); ``overlaps``: (range a, range b, ln(scale a / scale b), its standard
    uncertainty).  Raises ValueError: a range that nothing reaches.
    """
    design = np.zeros((len(scales) + len(overlaps), range_count))
    for row, index in enumerate(scales):
        design[row, index] = 1.0
    for row, (a, b, _, _) in enumerate(overlaps, len(scales)):
        design[row, a], design[row, b] = 1.0, -1.0
    points = np.array([*scales.values(), *(overlap[2:] for overlap in overlaps)]).reshape(-1, 2)
    fit = weighted_fit(design, points[:, 0], points[:, 1])
    return fit.parameters, fit.covariance * max(1.0, fit.birge) ** 2
