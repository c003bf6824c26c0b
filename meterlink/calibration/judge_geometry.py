"""The rows of an acceptance that depend on where things stand: inverse square and dome plane, angular response, rim."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import accumulate
from operator import mul

from meterlink.calibration.acceptance import AcceptanceWalk
from meterlink.calibration.findings import INDEX_LIMIT, RIM_LIMIT, Row, angle_limit, row
from meterlink.calibration.procedure import Taken
from meterlink.calibration.turntable import fit_angles
from meterlink.errors import CalibrationError
from meterlink.photometry import calibration_fit as cf
from meterlink.photometry.angle import AngleFit, error_index, error_stops
from meterlink.words.told import told

U_TAPE_M = 0.004
U_BEND_REL = 0.006
"""What the bend of a sound range does to readings at different places of it (half of ``scale.SOUND_BEND``)."""


def distance_rows(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> cf.DistanceFit | None:
    """Add the rows of the bare bulb over distance; return its fit."""
    taken = [t for t in walk.group("distance") if t.value and walk.light(t) > 0]
    d = [float(t.value or 0) for t in taken]
    own = [math.hypot(u_pop, t.measurement.u_rel, U_BEND_REL) for t in taken]
    u = [math.hypot(o, 2 * U_TAPE_M / x) for o, x in zip(own, d, strict=True)]
    # Near readings come from one range and far ones from another: what the overlap said of the two is taken out.
    seen = [walk.sensitivity(i, u_pop) for i in range(len(walk.calibration.ranges) - 1)]
    steps = [1.0, *accumulate((s[0] if s else 1.0 for s in seen), mul)]
    lights = [walk.light(t) / steps[t.measurement.range_index] for t in taken]
    try:
        fit = cf.fit_inverse_square(d, lights, u)
        fit = fit._replace(u_origin_m=math.hypot(fit.u_origin_m, *_range_shifts(seen, taken, d, lights, u, fit)))
    except ValueError:
        rows.append(row("inverse square", told("row_distance"), None, 0.0, "stop"))
        return None
    rows.append(row("origin", told("row_origin"), fit.origin_m, fit.u_origin_m, "m"))
    # The largest of six is larger than one: 2.6 standard deviations is what 95 % of such maxima stay below.
    worst = max(range(len(d)), key=lambda i: abs(float(fit.residuals_stops[i])) / u[i])
    departure, u_worst = abs(float(fit.residuals_stops[worst])), 1.3 * u[worst] * cf.STOPS
    rows.append(row("inverse square", told("row_departure", far=d[worst]), departure, u_worst, "stop"))
    return fit


def _range_shifts(
    seen: Sequence[tuple[float, float] | None],
    taken: Sequence[Taken],
    d: Sequence[float],
    lights: Sequence[float],
    u: Sequence[float],
    fit: cf.DistanceFit,
) -> list[float]:
    """How far the origin moves when a range's step, which all its readings share, is off by its uncertainty."""
    shifts = []
    for i, step in enumerate(seen):
        on_finer = [t.measurement.range_index > i for t in taken]
        if step and any(on_finer) and not all(on_finer):
            moved = [x * (1 + step[1]) if finer else x for x, finer in zip(lights, on_finer, strict=True)]
            shifts.append(cf.fit_inverse_square(d, moved, u).origin_m - fit.origin_m)
    return shifts


def angle_rows(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> AngleFit | None:
    """Add the rows of the turntable; return its fit."""
    taken = [t for t in walk.group("angle") if walk.light(t) > 0]
    try:
        fit = fit_angles(taken, [walk.light(t) for t in taken], walk.receptor, u_pop)
    except CalibrationError:
        rows.append(row("angle", told("row_response"), None, 0.0, "stop"))
        return None
    known = walk.judged.angle_response
    for degrees, stops, u in fit.error_stops:
        # With a measured response the readings are corrected by it; what is left is judged.
        left = stops - error_stops(known, walk.receptor, degrees)
        limit = angle_limit(degrees)
        rows.append(row("angle", told("row_angle", degrees=degrees), left, u, "stop", limit))
    if not known:
        what, limit = told("row_index", receptor=walk.receptor), INDEX_LIMIT[walk.receptor]
        rows.append(row("angle index", what, fit.error_index, _u_index(fit), "", limit))
    return fit


def _u_index(fit: AngleFit) -> float:
    """How far the index goes when the whole response goes up by its uncertainty."""
    shifted = [(a, r * (1 + u)) for (a, r), u in zip(fit.response, fit.u_rel, strict=True)]
    return abs(error_index(shifted, fit.receptor, fit.response[-1][0]) - fit.error_index)


def rim_rows(fit: AngleFit | None, rows: list[Row]) -> float:
    """A smooth dome errs in proportion to s = 1 - cos: three times as much at 120 degrees as at 60.  What comes around
    the rim comes from behind only."""
    errors = {a: (e, u) for a, e, u in fit.error_stops} if fit is not None else {}
    if not (fit and fit.receptor == "dome" and {60.0, 90.0, 120.0} <= set(errors)):
        return 0.0
    stops = max(0.0, errors[120.0][0] - 3 * errors[60.0][0])
    # ln error = c1 s + c2 s², so the figure is 1.5 c2; var(error) / s² is a parabola over s whose curvature is var(c2).
    at = [(errors[a][1] / (1 - math.cos(math.radians(a)))) ** 2 for a in (60.0, 90.0, 120.0)]
    u = 1.5 * math.sqrt(max(0.0, 2 * (at[0] - 2 * at[1] + at[2])))
    rows.append(row("rim", told("row_rim"), stops, u, "stop", RIM_LIMIT))
    return stops
