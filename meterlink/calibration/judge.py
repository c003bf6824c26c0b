"""What an acceptance walk shows: one row a check, with its uncertainty, its limit and pass, fail or unsure.

A check passes when its figure is inside the limit and known well enough to say so (k=2 within the limit); it fails
when the figure is outside by more than k=2; anything between is ``unsure`` and asks for more pops.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import accumulate
from operator import mul

from meterlink.calibration.acceptance import HIGH, LOW, AcceptanceWalk
from meterlink.calibration.calibrate import U_POP_REL, fit_angles
from meterlink.calibration.evidence import MAX_DARK_LX, REPORTED_FULL_LX, peak_raw_of, zero_of
from meterlink.calibration.findings import INDEX_LIMIT, RIM_LIMIT, Findings, Row, angle_limit, row
from meterlink.calibration.procedure import Taken
from meterlink.errors import CalibrationError
from meterlink.photometry import calibration_fit as cf
from meterlink.photometry.angle import AngleFit, error_index, error_stops
from meterlink.records import Measurement
from meterlink.words.told import told

U_REPORTED_LX = 1.0
"""Of what a chip reports in the dark: half of its coarsest step is about that (build_a.md)."""
U_TAPE_M = 0.004
U_BEND_REL = 0.006
"""What the bend of a sound range does to readings at different places of it (half of ``scale.SOUND_BEND``)."""


def judge(walk: AcceptanceWalk) -> Findings:
    """Turn a walk into rows and figures.  Steps that were left out or not reached are shown as such."""
    repeat_stops, u_pop = _repeats(walk)
    rows: list[Row] = []
    darks, leak, drift = _darkness(walk, rows)
    if walk.supply is not None:
        rows.append(row("supply", told("row_supply"), *walk.supply, "stop"))
    torch = [t.measurement.modulation for t in walk.of("torch") if t.measurement.modulation is not None]
    modulation = sum(torch) / len(torch) if torch else 0.0
    rows.append(row("hum", told("row_hum"), modulation if torch else None, 0.005, ""))
    u_spread = repeat_stops / math.sqrt(2 * max(1, len(walk.of("repeat")) - 1))
    rows.append(row("repeat", told("row_repeat"), repeat_stops if walk.of("repeat") else None, u_spread, "stop"))
    durations = [t05_s for t in walk.of("short") if (t05_s := _t05_s(t.measurement))]
    shortest = min(durations) if durations else None
    if walk.identity.flash:
        rows.append(row("short", told("row_short"), shortest, 20e-6, "s"))
    overlaps = _overlaps(walk, u_pop, rows)
    distance = _distance_rows(walk, u_pop, rows)
    additivity = _additivity(walk, u_pop, rows)
    angle = _angle_rows(walk, u_pop, rows)
    rim_stops = _rim_rows(angle, rows)
    return Findings(
        tuple(rows), zero_of(walk.identity), darks, leak, modulation, repeat_stops, shortest, distance, additivity,
        _peaks(walk), overlaps, angle, rim_stops, drift, walk.ceilings(),
    )  # fmt: skip


def _t05_s(m: Measurement) -> float | None:
    """t0.5 of a pop; where a slow amplifier leaves so few codes of it that only t0.1 is told, an exponential's of that t0.1."""
    return m.t05_s or (m.t01_s * math.log(2) / math.log(10) if m.t01_s else None)


def _repeats(walk: AcceptanceWalk) -> tuple[float, float]:
    seen = walk.raws("repeat")
    if len(seen) < 2:
        return 0.0, U_POP_REL
    spread = cf.repeatability(seen).spread / (sum(seen) / len(seen))
    return spread * cf.STOPS, max(spread, 0.002)


def _darkness(walk: AcceptanceWalk, rows: list[Row]) -> tuple[tuple[float, ...], float, float]:
    darks, drift = [], 0.0
    code = 2.0 ** -(walk.identity.adc_bits or 10)
    lux = not walk.identity.adc_bits
    # A sensor that reports lux is judged in lux, with a step of a few of them as its own doubt.
    unit, size, limit = ("lx", REPORTED_FULL_LX, MAX_DARK_LX) if lux else ("of full scale", 1.0, None)
    u = U_REPORTED_LX if lux else code / math.sqrt(12)
    for i, name in enumerate(walk.identity.ranges):
        before, after = walk.raws(f"dark-{i}"), walk.raws(f"after-{i}")
        dark = sum(before) / len(before) if before else zero_of(walk.identity)
        darks.append(dark)
        off = dark - zero_of(walk.identity) if before else None
        what = told("row_dark_lux" if lux else "row_dark", name=name)
        rows.append(row("dark", what, None if off is None else off * size, u, unit, limit))
        if before and after:
            change = sum(after) / len(after) - dark
            drift = change if abs(change) > abs(drift) else drift
    seen = walk.raws("leak")
    leak = sum(seen) / len(seen) - darks[-1] if seen else 0.0
    rows.append(row("leak", told("row_leak"), leak * size if seen else None, u, unit, limit))
    done = bool(walk.group("after"))
    rows.append(row("drift", told("row_drift"), drift * size if done else None, u, unit, limit))
    return tuple(darks), leak, drift


def _additivity(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> dict[tuple[int, str], tuple[float, float]]:
    found: dict[tuple[int, str], tuple[float, float]] = {}
    for i, name in enumerate(walk.identity.ranges):
        for level in (HIGH, LOW):
            steps = [f"add-{i}-{level}-{who}" for who in ("a", "b", "ab")]
            what = told(f"row_add_{level}", name=name)
            if not all(map(walk.of, steps)):
                rows.append(row("additivity", what, None, 0.0, "stop"))
                continue
            (a, u_a), (b, u_b), (ab, u_ab) = (walk.mean_light(step, u_pop) for step in steps)
            u = math.hypot(a * u_a, b * u_b) / (a + b) if a + b > 0 else 1.0
            value = math.log2(ab / (a + b)) if a + b > 0 and ab > 0 else -9.0
            u = math.hypot(u, u_ab) * cf.STOPS
            found[i, level] = (value, u)
            rows.append(row("additivity", what, value, u, "stop"))
    return found


def _peaks(walk: AcceptanceWalk) -> dict[tuple[int, str], tuple[float, float]]:
    """Whether peaks add.  A range that gives way cuts the peak long before it costs much of the light."""
    found: dict[tuple[int, str], tuple[float, float]] = {}
    for i in range(len(walk.identity.ranges)):
        for level in (HIGH, LOW):
            tops = [_top(walk, f"add-{i}-{level}-{who}") for who in ("a", "b", "ab")]
            if all(tops):
                a, b, ab = tops
                found[i, level] = (math.log2(ab / (a + b)), ab)
    return found


def _top(walk: AcceptanceWalk, name: str) -> float:
    peaks = [peak_raw_of(t.measurement, walk.calibration) for t in walk.of(name)]
    known = [p for p in peaks if p]
    return sum(known) / len(known) if known else 0.0


def _overlaps(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> tuple[float, ...]:
    """Sensitivity of each range over the one above it, against the design (or the calibration when none is known)."""
    result = []
    scales = [r.full_scale_lx for r in walk.calibration.ranges]
    design = walk.nominal_lx if len(walk.nominal_lx) == len(scales) else tuple(scales)
    for i in range(len(scales) - 1):
        names = walk.identity.ranges
        what = told("row_overlap", fine=names[i + 1], coarse=names[i], factor=design[i] / design[i + 1])
        seen = walk.sensitivity(i, u_pop)
        if seen is None:
            value, u = _inverted(walk, i, design), 0.3
        else:
            value = math.log2(seen[0] * scales[i] / scales[i + 1] / (design[i] / design[i + 1]))
            u = seen[1] * cf.STOPS
        rows.append(row("overlap", what, value, u, "stop"))
        result.append(value or 0.0)
    return tuple(result)


def _inverted(walk: AcceptanceWalk, i: int, design: Sequence[float]) -> float | None:
    """The less sensitive range clips with a light that the more sensitive one takes: at most so many stops."""
    finer = [walk.level_of(t.measurement) for t in walk.of(f"overlap-{i}-{i + 1}")]
    clipped = any(t.task.name == f"overlap-{i}-{i}" and t.measurement.clipped for t in walk.refused)
    if not clipped or not finer or not finer[0]:
        return None
    return math.log2(finer[0] / (design[i] / design[i + 1]))


def _distance_rows(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> cf.DistanceFit | None:
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


def _angle_rows(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> AngleFit | None:
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


def _rim_rows(fit: AngleFit | None, rows: list[Row]) -> float:
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
