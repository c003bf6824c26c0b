"""What an acceptance walk shows: one row a check, with its uncertainty, its limit and pass, fail or unsure.

A check passes when its figure is inside the limit and known well enough to say so (k=2 within the limit); it fails
when the figure is outside by more than k=2; anything between is ``unsure`` and asks for more pops.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from meterlink.calibrating.acceptance import HIGH, LOW, AcceptanceWalk
from meterlink.calibrating.calibrate import U_POP_REL
from meterlink.calibrating.evidence import full_raw_of, peak_raw_of, raw_of
from meterlink.calibrating.procedure import Taken
from meterlink.calibrating.turntable import fit_angles
from meterlink.errors import CalibrationError
from meterlink.photometry import calibration_fit as cf
from meterlink.photometry.angle import AngleFit, error_stops
from meterlink.sensing.calibrate import PEDESTAL_RAW

LIMITS = {
    "dark": 0.015,
    "leak": 0.005,
    "hum": 0.05,
    "repeat": 0.05,
    "short": 400e-6,
    "origin": 0.015,
    "inverse square": 0.1,
    "additivity": 0.1,
    "overlap": 0.3,
    "angle": 0.2,
    "angle index": 0.12,
    "drift": 0.004,
}
"""Largest figure that passes.  Ours: what keeps a reading within a tenth of a stop, with room for a real lamp."""
U_TAPE_M = 0.004
U_BEND_REL = 0.006
"""What the bend of a sound range does to readings at different places of it (half of ``scale.SOUND_BEND``)."""


class Row(NamedTuple):
    """One check."""

    name: str
    what: str
    figure: float | None
    u: float
    """Standard uncertainty of the figure."""
    limit: float
    unit: str
    outcome: str
    """``pass``, ``fail``, ``unsure`` or ``left out``."""


class Findings(NamedTuple):
    """All rows, and the numbers that tell what is behind a failure."""

    rows: tuple[Row, ...]
    pedestal_raw: float
    dark_raw: tuple[float, ...]
    leak_raw: float
    modulation: float
    repeat_stops: float
    shortest_s: float | None
    distance: cf.DistanceFit | None
    additivity: dict[tuple[int, str], tuple[float, float]]
    """(range, level) -> together over the sum, in stops, and its standard uncertainty; negative: too little."""
    peaks: dict[tuple[int, str], tuple[float, float]]
    """(range, level) -> peak together over the sum of the peaks, in stops, and the peak together as a raw value."""
    overlap_stops: tuple[float, ...]
    """Sensitivity ratio of neighbouring ranges against the design, in stops."""
    angle: AngleFit | None
    drift_raw: float


def judge(walk: AcceptanceWalk) -> Findings:
    """Turn a walk into rows and figures.  Steps that were left out or not reached are shown as such."""
    repeat_stops, u_pop = _repeats(walk)
    rows: list[Row] = []
    darks, leak, drift = _darkness(walk, rows)
    torch = [t.measurement.modulation for t in walk.of("torch") if t.measurement.modulation is not None]
    modulation = sum(torch) / len(torch) if torch else 0.0
    rows.append(_row("hum", "light of a battery torch wavers", modulation if torch else None, 0.005, ""))
    u_spread = repeat_stops / math.sqrt(2 * max(1, len(walk.of("repeat")) - 1))
    rows.append(_row("repeat", "spread of one pop", repeat_stops if walk.of("repeat") else None, u_spread, "stop"))
    durations = [t.measurement.t05_s for t in walk.of("short") if t.measurement.t05_s]
    shortest = min(durations) if durations else None
    if walk.identity.flash:
        rows.append(_row("short", "t0.5 of a flash at lowest power", shortest, 20e-6, "s"))
    overlaps = _overlaps(walk, u_pop, rows)
    distance = _distance(walk, u_pop, rows)
    additivity = _additivity(walk, u_pop, rows)
    angle = _angle(walk, u_pop, rows)
    return Findings(
        tuple(rows), pedestal(walk), darks, leak, modulation, repeat_stops, shortest, distance, additivity,
        _peaks(walk), overlaps, angle, drift,
    )  # fmt: skip


def angle_limit(degrees: float) -> float:
    """Largest error that passes, in stops: light from the side matters less, from behind least."""
    return LIMITS["angle"] * (1 if degrees <= 60 else 2 if degrees <= 90 else 3.5)


def _row(name: str, what: str, figure: float | None, u: float, unit: str, limit: float | None = None) -> Row:
    bound = LIMITS[name] if limit is None else limit
    if figure is None:
        return Row(name, what, None, 0.0, bound, unit, "left out")
    size = abs(figure)
    if size - 2 * u > bound:
        outcome = "fail"
    elif size <= bound and 2 * u <= bound:
        outcome = "pass"
    else:
        outcome = "unsure"
    return Row(name, what, figure, u, bound, unit, outcome)


def _raws(walk: AcceptanceWalk, taken: Sequence[Taken]) -> list[float]:
    full = full_raw_of(walk.identity)
    return [raw_of(t.measurement, walk.calibration) / full for t in taken]


def pedestal(walk: AcceptanceWalk) -> float:
    """Where the zero should be: lifted in the builds with a converter, at 0 for a sensor that reports lux."""
    return PEDESTAL_RAW if full_raw_of(walk.identity) == 1.0 else 0.0


def _repeats(walk: AcceptanceWalk) -> tuple[float, float]:
    raws = _raws(walk, walk.of("repeat"))
    if len(raws) < 2:
        return 0.0, U_POP_REL
    spread = cf.repeatability(raws).spread / (sum(raws) / len(raws))
    return spread * cf.STOPS, max(spread, 0.002)


def _darkness(walk: AcceptanceWalk, rows: list[Row]) -> tuple[tuple[float, ...], float, float]:
    darks, drift = [], 0.0
    code = 2.0 ** -(walk.identity.adc_bits or 10)
    u = code / math.sqrt(12)
    for i, name in enumerate(walk.identity.ranges):
        before, after = _raws(walk, walk.of(f"dark-{i}")), _raws(walk, walk.of(f"after-{i}"))
        dark = sum(before) / len(before) if before else pedestal(walk)
        darks.append(dark)
        off = dark - pedestal(walk) if before else None
        rows.append(_row("dark", f"dark of range {name} against the lifted zero", off, u, "of full scale"))
        if before and after:
            change = sum(after) / len(after) - dark
            drift = change if abs(change) > abs(drift) else drift
    seen = _raws(walk, walk.of("leak"))
    leak = sum(seen) / len(seen) - darks[-1] if seen else 0.0
    rows.append(_row("leak", "light through the capped housing", leak if seen else None, u, "of full scale"))
    done = bool(walk.group("after"))
    rows.append(_row("drift", "dark after the walk against before", drift if done else None, u, "of full scale"))
    return tuple(darks), leak, drift


def _lighter(walk: AcceptanceWalk) -> Callable[[Taken], float]:
    """What turns a measurement into light: a pop is above its ambient already, steady light loses the walk's own dark."""
    darks = []
    for i in range(len(walk.identity.ranges)):
        seen = _raws(walk, walk.of(f"dark-{i}"))
        dark = sum(seen) / len(seen) * full_raw_of(walk.identity) if seen else walk.judged.ranges[i].dark_raw
        darks.append(dark)

    def light(taken: Taken) -> float:
        m = taken.measurement
        if m.exposure_lxs is not None:
            return m.exposure_lxs
        full = walk.calibration.ranges[m.range_index].full_scale_lx
        return (m.illuminance_lx or 0.0) - darks[m.range_index] * full

    return light


def _distance(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> cf.DistanceFit | None:
    light = _lighter(walk)
    taken = [t for t in walk.group("distance") if t.value and light(t) > 0]
    d = [float(t.value or 0) for t in taken]
    own = [math.hypot(u_pop, t.measurement.u_rel, U_BEND_REL) for t in taken]
    u = [math.hypot(o, 2 * U_TAPE_M / x) for o, x in zip(own, d, strict=True)]
    # Near readings come from one range and far ones from another: what the overlap said of the two is taken out.
    steps = [1.0]
    for i in range(len(walk.calibration.ranges) - 1):
        steps.append(steps[-1] * (_sensitivity(walk, i) or 1.0))
    try:
        fit = cf.fit_inverse_square(d, [light(t) / steps[t.measurement.range_index] for t in taken], u)
    except ValueError:
        rows.append(_row("inverse square", "bare bulb over distance", None, 0.0, "stop"))
        return None
    rows.append(_row("origin", "dome plane against its mark", fit.origin_m, fit.u_origin_m, "m"))
    # The largest of six is larger than one: 2.6 standard deviations is what 95 % of such maxima stay below.
    worst = max(range(len(d)), key=lambda i: abs(float(fit.residuals_stops[i])) / u[i])
    departure, u_worst = abs(float(fit.residuals_stops[worst])), 1.3 * u[worst] * cf.STOPS
    rows.append(_row("inverse square", f"departure from the law at {d[worst]:g} m", departure, u_worst, "stop"))
    return fit


def _sensitivity(walk: AcceptanceWalk, i: int) -> float | None:
    """What range i + 1 says of a light over what range i says of it; 1 when the calibration ties them together well."""
    light = _lighter(walk)
    a, b = walk.of(f"overlap-{i}-{i}"), walk.of(f"overlap-{i}-{i + 1}")
    low, high = (sum(map(light, g)) / len(g) if g else 0.0 for g in (a, b))
    return high / low if low > 0 and high > 0 else None


def _additivity(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> dict[tuple[int, str], tuple[float, float]]:
    found: dict[tuple[int, str], tuple[float, float]] = {}
    light = _lighter(walk)
    for i, name in enumerate(walk.identity.ranges):
        for level, words in ((HIGH, "top"), (LOW, "bottom")):
            groups = [walk.of(f"add-{i}-{level}-{who}") for who in ("a", "b", "ab")]
            what = f"two lights together against their sum, {words} of range {name}"
            if not all(groups):
                rows.append(_row("additivity", what, None, 0.0, "stop"))
                continue
            a, b, ab = (sum(map(light, g)) / len(g) for g in groups)
            noise = [math.sqrt(sum(t.measurement.u_rel**2 for t in g)) / len(g) for g in groups]
            us = [math.hypot(u_pop / math.sqrt(len(g)), n) for g, n in zip(groups, noise, strict=True)]
            u = math.sqrt((a * us[0]) ** 2 + (b * us[1]) ** 2) / (a + b) if a + b > 0 else 1.0
            value = math.log2(ab / (a + b)) if a + b > 0 and ab > 0 else -9.0
            u = math.hypot(u, us[2]) * cf.STOPS
            found[i, level] = (value, u)
            rows.append(_row("additivity", what, value, u, "stop"))
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
        what = f"range {names[i + 1]} against range {names[i]}, by design {design[i] / design[i + 1]:.3g} times"
        seen = _sensitivity(walk, i)
        if seen is None and (inverted := _inverted(walk, i, design)) is not None:
            rows.append(_row("overlap", what, inverted, 0.3, "stop"))
            result.append(inverted)
            continue
        if seen is None:
            rows.append(_row("overlap", what, None, 0.0, "stop"))
            result.append(0.0)
            continue
        value = math.log2(seen * scales[i] / scales[i + 1] / (design[i] / design[i + 1]))
        a, b = walk.of(f"overlap-{i}-{i}"), walk.of(f"overlap-{i}-{i + 1}")
        noise = math.sqrt(sum(t.measurement.u_rel**2 for t in a)) / len(a)
        u = math.hypot(u_pop * math.sqrt(1 / len(a) + 1 / len(b)), noise) * cf.STOPS
        result.append(value)
        rows.append(_row("overlap", what, value, u, "stop"))
    return tuple(result)


def _inverted(walk: AcceptanceWalk, i: int, design: Sequence[float]) -> float | None:
    """The less sensitive range clips with a light that the more sensitive one takes: at most so many stops."""
    finer = [walk.level_of(t.measurement) for t in walk.of(f"overlap-{i}-{i + 1}")]
    clipped = any(t.task.name == f"overlap-{i}-{i}" and t.measurement.clipped for t in walk.refused)
    if not clipped or not finer or not finer[0]:
        return None
    return math.log2(finer[0] / (design[i] / design[i + 1]))


def _angle(walk: AcceptanceWalk, u_pop: float, rows: list[Row]) -> AngleFit | None:
    light = _lighter(walk)
    taken = [t for t in walk.group("angle") if light(t) > 0]
    try:
        fit = fit_angles(taken, [light(t) for t in taken], walk.receptor, u_pop)
    except CalibrationError:
        rows.append(_row("angle", "angular response", None, 0.0, "stop"))
        return None
    known = walk.judged.angle_response
    for degrees, stops, u in fit.error_stops:
        # With a measured response the readings are corrected by it; what is left is judged.
        left = stops - error_stops(known, walk.receptor, degrees)
        limit = angle_limit(degrees)
        rows.append(_row("angle", f"light from {degrees:g} degrees", left, u, "stop", limit))
    if not known:
        rows.append(_row("angle index", f"{walk.receptor} against the ideal", fit.error_index, 0.02, ""))
    return fit
