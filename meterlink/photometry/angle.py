"""Angular response of a receptor: the ideal, a fit to turntable readings, its error, and the correction from it.

Ideal responses, relative to light on the axis at angle z: flat disk cos z, zero beyond 90°; dome (1 + cos z)/2.
numpy is imported by the fit only, since a reading's correction needs none.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from meterlink.photometry.receptors import response

TYPICAL_ANGLES_DEG = {"dome": (30.0, 45.0, 60.0, 90.0, 120.0), "flat": (15.0, 30.0, 45.0, 60.0)}
"""Angles at which the error is told: where key, fill and side lights stand, seen by a receptor aimed at the camera."""
LARGEST_ANGLE_DEG = {"dome": 140.0, "flat": 85.0}
"""Beyond it the ideal response is so small that a relative error says nothing."""

if TYPE_CHECKING:
    from meterlink.photometry.calibration_fit import Array, Fit

Response = Sequence[tuple[float, float]]


def ideal_response(receptor: str, angle_deg: float) -> float:
    """Return the ideal response at an angle from the receptor's axis, 1 on the axis.

    Raises ValueError: an unknown receptor, or an angle outside -180 to 180.
    """
    if not -180 <= angle_deg <= 180:
        raise ValueError(f"angle must lie between -180 and 180 degrees, not {angle_deg}")
    return response(receptor, math.cos(math.radians(angle_deg)))


def measured_response(measured: Response, receptor: str) -> Callable[[float], float]:
    """Return a measured response over the angle in degrees: its ratio to the ideal is interpolated, and stays beyond its ends.

    ``measured`` holds (angle in degrees, response relative to 0°), as ``Calibration.angle_response``; empty is ideal.
    """
    with_ideal = [(abs(a), r, ideal_response(receptor, a)) for a, r in measured]
    points = sorted((a, r / i) for a, r, i in with_ideal if i > 1e-6) or [(0.0, 1.0)]
    angles = [a for a, _ in points]

    def at(angle_deg: float) -> float:
        angle = abs(angle_deg)
        after = bisect_left(angles, angle)
        (a0, r0), (a1, r1) = points[max(after - 1, 0)], points[min(after, len(points) - 1)]
        part = (angle - a0) / (a1 - a0) if a1 > a0 else 1.0
        return ideal_response(receptor, angle) * (r0 + (r1 - r0) * part)

    return at


def error_stops(measured: Response, receptor: str, angle_deg: float) -> float:
    """Return by how many stops this receptor reads a light at that angle too bright (positive) or too dark.

    Raises ValueError: an angle at which the ideal receptor sees nothing.
    """
    ideal = ideal_response(receptor, angle_deg)
    if ideal <= 1e-6:
        raise ValueError(f"an ideal {receptor} receptor sees nothing at {angle_deg:g} degrees")
    return math.log2(max(measured_response(measured, receptor)(angle_deg), 1e-9) / ideal)


def error_index(measured: Response, receptor: str, largest_deg: float) -> float:
    """Return the mean relative deviation from the ideal, weighted as light from all around would weigh it.

    Integral of abs(r/ideal - 1) * w with w = ideal(z) sin z over 0 to ``largest_deg``.  For a flat receptor it is
    given as the cosine index f2 of ISO/CIE 19476 (from memory), whose norm is 1; for a dome the same rule with its own
    ideal and the weights normalised: no published index is known to us.
    """
    steps, seen = 400, measured_response(measured, receptor)
    total = weight_sum = 0.0
    for i in range(steps):
        angle = (i + 0.5) * largest_deg / steps
        ideal = ideal_response(receptor, angle)
        weight = ideal * math.sin(math.radians(angle))
        total += abs(seen(angle) / ideal - 1) * weight
        weight_sum += weight
    if receptor == "flat":
        return 2 * total * math.radians(largest_deg / steps)
    return total / weight_sum


class AngleFit(NamedTuple):
    """A receptor's angular response as turntable readings show it."""

    receptor: str
    response: tuple[tuple[float, float], ...]
    """(angle, response relative to 0°) every 5° up to the largest angle measured: goes into ``Calibration``."""
    u_rel: tuple[float, ...]
    """Relative standard uncertainty of each."""
    zero_deg: float
    """Where the axis really lies on the turntable's scale; 0 when only one side was measured."""
    error_index: float
    error_stops: tuple[tuple[float, float, float], ...]
    """(typical angle, error in stops, its standard uncertainty)."""


def fit_response(angles_deg: Sequence[float], values: Sequence[float], u_rel: Sequence[float], receptor: str) -> AngleFit:
    """Fit readings of one lamp against the ideal response.

    Model: value = A * ideal(z - zero) * exp(c1 s + c2 s²), s = 1 - cos(z - zero): smooth, free at side and back, 1 on
    the axis.  The zero is fitted when both sides were measured.

    ``angles_deg``: of the turntable, readings beyond ``LARGEST_ANGLE_DEG`` are left out; ``values``: light or raw values at them,
    > 0; ``u_rel``: relative standard uncertainty of each (repeatability and the reading of the angle).

    Raises ValueError: fewer than five angles, none near the axis, none at 60° or beyond, values that are not positive.
    """
    from meterlink.photometry.calibration_fit import STOPS

    ideal_response(receptor, 0.0)  # refuses an unknown receptor
    limit = LARGEST_ANGLE_DEG[receptor]
    rows = [(a, v, u) for a, v, u in zip(angles_deg, values, u_rel, strict=True) if abs(a) <= limit + 1e-9]
    _check_angles(rows)
    fit, zero = _smooth_fit(rows, receptor)
    covariance = fit.covariance[1:3, 1:3] * max(1.0, fit.birge) ** 2
    largest = min(limit, max(abs(a - zero) for a, _, _ in rows))

    def log_error(angle: float) -> tuple[float, float]:
        s = 1 - math.cos(math.radians(angle))
        (a, b), (_, c) = covariance.tolist()
        deviation = s * float(fit.parameters[1]) + s * s * float(fit.parameters[2])
        return deviation, math.sqrt(s * s * (a + 2 * s * b + s * s * c))

    steps = [5.0 * i for i in range(int(largest / 5 + 1e-9) + 1)]
    table = tuple((a, ideal_response(receptor, a) * math.exp(log_error(a)[0])) for a in steps)
    typical = [a for a in TYPICAL_ANGLES_DEG[receptor] if a <= largest + 10]
    return AngleFit(
        receptor=receptor,
        response=table,
        u_rel=tuple(log_error(a)[1] for a in steps),
        zero_deg=zero,
        error_index=error_index(table, receptor, largest),
        error_stops=tuple((a, log_error(a)[0] * STOPS, log_error(a)[1] * STOPS) for a in typical),
    )


def _smooth_fit(rows: Sequence[tuple[float, float, float]], receptor: str) -> tuple[Fit, float]:
    """Fit A, c1, c2 and, when both sides were measured, the zero of the scale (Gauss-Newton)."""
    import numpy as np

    from meterlink.photometry.calibration_fit import weighted_fit

    z, v, u = (np.asarray(c, dtype=np.float64) for c in zip(*rows, strict=True))
    both_sides = z.min() < -10 and z.max() > 10

    def log_ideal(angle: Array) -> Array:
        cosine = np.cos(np.radians(angle))
        return np.asarray(np.log(np.maximum((1 + cosine) / 2 if receptor == "dome" else cosine, 1e-3)))

    zero = 0.0
    for _ in range(20):
        s = 1 - np.cos(np.radians(z - zero))
        columns = [np.ones_like(z), s, s**2]
        if both_sides:
            columns.append((log_ideal(z - zero - 0.05) - log_ideal(z - zero + 0.05)) / 0.1)
        fit = weighted_fit(np.stack(columns, axis=1), np.log(v) - log_ideal(z - zero), u)
        if not both_sides:
            break
        zero = max(-30.0, min(30.0, zero + float(fit.parameters[3])))
        if abs(fit.parameters[3]) < 1e-6:
            break
    return fit, zero


def _check_angles(rows: Sequence[tuple[float, float, float]]) -> None:
    if len({a for a, _, _ in rows}) < 5:
        raise ValueError("an angular response needs readings at five or more angles")
    if min(abs(a) for a, _, _ in rows) > 5:
        raise ValueError("no reading near the axis: take one with the receptor aimed at the lamp (0 degrees)")
    if max(abs(a) for a, _, _ in rows) < 60:
        raise ValueError("no reading at 60 degrees or beyond: turn the receptor further, that is where domes fail")
    if any(not (v > 0 and math.isfinite(v)) for _, v, _ in rows):
        raise ValueError("values must be greater than 0: take angles with no light in them out")
