"""Small least-squares fits of a pulse's top and flanks: a line, and exp(polynomial), by sums over the samples.

With two or three coefficients the normal equations are solved in closed form: general solvers spend more time on
looking at their arguments than on these.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from meterlink.photometry.flash.input import Array

_STEPS = 10
_CLOSE = 1e-5
"""Steps of Gauss-Newton below this end it; the next would be far smaller."""

Matrix = list[list[float]]


class Fit(NamedTuple):
    """Coefficients of a polynomial in x (of the light, or of its logarithm)."""

    coefficients: list[float]
    inverse: Matrix
    """Covariance of the coefficients for unit noise."""
    misfit: float
    """Sum of the squared residuals."""

    def spread_at(self, x: float) -> float:
        """Return the standard uncertainty of the polynomial at x for unit noise."""
        powers = [1.0, x, x * x][: len(self.coefficients)]
        rows = _apply(self.inverse, powers)
        return math.sqrt(max(sum(a * b for a, b in zip(rows, powers, strict=True)), 0.0))


def powers_of(x: Array, count: int) -> Array:
    """Return x**0 ... x**(count - 1) as rows."""
    rows = np.empty((count, x.size))
    rows[0] = 1.0
    for k in range(1, count):
        np.multiply(rows[k - 1], x, out=rows[k])
    return rows


def inverse_of(moments: list[float], size: int) -> Matrix:
    """Return the inverse of the matrix whose element (i, k) is ``moments[i + k]``, ``size`` 1 to 3.

    A column that adds nothing gets a little of its own, so that there always is an inverse.
    """
    m = moments
    if size == 1:
        return [[1.0 / max(m[0], 1e-300)]]
    if size == 2:
        b, d = m[1], m[2]
        a, d = m[0] * (1.0 + 1e-14), d * (1.0 + 1e-14)
        det = max(a * d - b * b, 1e-300)
        return [[d / det, -b / det], [-b / det, a / det]]
    a, c, f = (m[k] * (1.0 + 1e-13) for k in (0, 2, 4))
    b, d, e = m[1], m[2], m[3]
    first, second, third = c * f - e * e, d * e - b * f, b * e - c * d
    det = max(a * first + b * second + d * third, 1e-300)
    cross = (b * d - a * e) / det
    return [
        [first / det, second / det, third / det],
        [second / det, (a * f - d * d) / det, cross],
        [third / det, cross, (a * c - b * b) / det],
    ]


def _apply(inverse: Matrix, right: list[float]) -> list[float]:
    if len(right) == 2:
        (a, b), (c, d), (x, y) = *inverse, right
        return [a * x + b * y, c * x + d * y]
    if len(right) == 3:
        x, y, z = right
        return [a * x + b * y + c * z for a, b, c in inverse]
    return [inverse[0][0] * right[0]]


def polynomial(powers: Array, target: Array, weight: Array | None, size: int) -> Fit:
    """Fit a polynomial of ``size`` coefficients; ``weight`` multiplies residuals (one over their noise).

    ``powers``: at least 2 * size - 1 rows from ``powers_of``.
    """
    squared = np.ones_like(target) if weight is None else weight * weight
    inverse = inverse_of((powers[: 2 * size - 1] @ squared).tolist(), size)
    coefficients = _apply(inverse, (powers[:size] @ (squared * target)).tolist())
    rest = target - np.asarray(coefficients) @ powers[:size]
    return Fit(coefficients, inverse, float((rest * rest * squared).sum()))


def exponential(powers: Array, light: Array, size: int) -> Fit:
    """Fit exp(polynomial) to the light itself by Gauss-Newton from a weighted fit of its logarithm."""
    safe = np.maximum(light, 0.05)
    design, moments = powers[:size], powers[: 2 * size - 1]
    squared = safe * safe
    inverse = inverse_of((moments @ squared).tolist(), size)
    coefficients = _apply(inverse, (design @ (squared * np.log(safe))).tolist())
    for _ in range(_STEPS):
        model = _model(coefficients, design)
        inverse = inverse_of((moments @ (model * model)).tolist(), size)
        step = _apply(inverse, (design @ (model * (light - model))).tolist())
        coefficients = [c + min(max(s, -2.0), 2.0) for c, s in zip(coefficients, step, strict=True)]
        if max(abs(s) for s in step) < _CLOSE:
            break
    rest = light - _model(coefficients, design)
    return Fit(coefficients, inverse, float((rest * rest).sum()))


def mixed(ways: Sequence[tuple[float, float, float]]) -> tuple[float, float]:
    """Return mean and standard uncertainty over (likelihood, value, its uncertainty) of all that something may be."""
    total = sum(weight for weight, _, _ in ways)
    mean = sum(weight * value for weight, value, _ in ways) / total
    return mean, math.sqrt(sum(weight * (u**2 + (value - mean) ** 2) for weight, value, u in ways) / total)


def chance(more: float) -> float:
    """How likely a shape is beside another one if it leaves so much ``more`` chi-square."""
    return 1.0 / (1.0 + math.exp(min(max(more / 2.0, -300.0), 300.0)))


def _model(coefficients: list[float], design: Array) -> Array:
    model: Array = np.exp(np.maximum(np.minimum(np.asarray(coefficients) @ design, 4.0), -8.0))
    return model
