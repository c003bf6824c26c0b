"""Measuring how a light's modifier falls off: from its readings at three or more distances to a stored curve."""

from __future__ import annotations

from collections.abc import Iterable
from math import log, log2, sqrt
from typing import NamedTuple

from meterlink.judging.judged_set import value_of
from meterlink.judging.power_curve import prior_u
from meterlink.judging.verdict import repeat_u_stops
from meterlink.photometry.falloff import FalloffFit, FalloffPoint, fit_falloff
from meterlink.photometry.sources import Point
from meterlink.records.kept import Placement, Reading, Settings
from meterlink.words.told import Told, told

_LN2 = log(2.0)
TAPE_M = 0.01
"""Standard uncertainty of a distance that was set out for this purpose, unless the placement says otherwise."""


class FalloffRun(NamedTuple):
    """One distance of the walk: where the light stood and what the dome read."""

    placement: Placement
    reading: Reading


def falloff_from(
    runs: Iterable[FalloffRun],
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
) -> FalloffFit:
    """Return the falloff of one light from its readings at several distances.

    The dome's distance is the light's distance less what it was held off toward the light (undeclared: the middle of
    the assumed reach).  Readings at another power are brought to the first one's by the dial, with its doubt.  Raises
    ValueError, in words, for sizes or receptors that differ, missing distances, and whatever ``fit_falloff`` refuses.
    """
    points = []
    first: FalloffRun | None = None
    for run in runs:
        first = first or run
        _check_like(first, run)
        points.append(_point(first.placement, run, settings))
    if first is None:
        raise ValueError("no readings: a falloff needs three distances or more")
    return fit_falloff(points, first.reading.receptor)


def _check_like(first: FalloffRun, run: FalloffRun) -> None:
    """Refuse readings of different sources, receptors or kinds of light."""
    then, now = first.placement, run.placement
    if (then.surface, then.grid_deg, then.diffusers) != (now.surface, now.grid_deg, now.diffusers):
        raise ValueError("the source was changed between the readings: a falloff belongs to one modifier as it is")
    if (first.reading.receptor, first.reading.kind) != (run.reading.receptor, run.reading.kind):
        raise ValueError("the readings were taken with different receptors or kinds of light: meter like with like")
    if run.reading.aim != "light":
        raise ValueError("a reading was aimed at the camera: aim the dome at the light for a falloff")


def _point(first: Placement, run: FalloffRun, settings: Settings) -> FalloffPoint:
    """One point of the fit, with the uncertainty of its distance turned into stops by inverse square."""
    placement, reading = run.placement, run.reading
    if placement.distance_m is None:
        raise ValueError("a distance is missing: a falloff needs the light's distance for every reading")
    value = value_of(reading)
    if value is None or not value > 0.0 or reading.clipped or reading.too_dim:
        raise ValueError(f"the reading at {placement.distance_m:.2f} m is clipped, too dim or empty: take it again")
    held, u_held = reading.held_off_m, reading.u_held_off_m
    if held is None:
        low, high = settings.assumed_reach_min_m, settings.assumed_reach_max_m
        held, u_held = (low + high) / 2, (high - low) / sqrt(12)
    elif reading.held_off_toward != "light" and held > 0.0:
        raise ValueError("the dome was held off sideways: hold it at the point, or toward the light, for a falloff")
    if u_held is None:
        u_held = settings.u_held_off_m(held) if held else 0.0
    distance = placement.distance_m - held
    u_distance = TAPE_M if placement.u_distance_m is None else placement.u_distance_m
    u_stops = sqrt(u_distance**2 + u_held**2) * 2 / (max(distance, 0.05) * _LN2)
    stops, u_power = log2(value), 0.0
    if first.power_stops is not None and placement.power_stops is not None:
        asked = placement.power_stops - first.power_stops
        stops, u_power = stops - asked, prior_u(asked)
    elif first.power_text != placement.power_text:
        raise ValueError("the power was changed by an unknown amount between the readings: keep it, or type it")
    repeat = repeat_u_stops(reading, settings.u_repeat_stops)
    return FalloffPoint(distance, stops, sqrt(repeat**2 + u_stops**2 + u_power**2))


def law_of(fit: FalloffFit) -> Told:
    """The fitted law in words, with k=2."""
    if fit.law == "disk":
        return told("law_disk", cm=fit.parameter_m * 200, u95_cm=fit.u_parameter_m * 400)
    return told("law_shifted", cm=fit.parameter_m * 100, u95_cm=fit.u_parameter_m * 200)


def falloff_lines(fit: FalloffFit, width: int = 60, height: int = 12) -> list[str]:
    """Return the fit and its residuals as lines of text for a terminal: curve ``·``, inverse square ``-``, readings ``o``.

    ``width`` 20 to 200 and ``height`` 5 to 60 characters, else ValueError.
    """
    if not 20 <= width <= 200 or not 5 <= height <= 60:
        raise ValueError(f"a plot of {width} by {height} characters: it must be 20–200 by 5–60")
    near, far = 0.9 * fit.near_m, 1.1 * fit.far_m
    columns = [near * (far / near) ** (i / (width - 1)) for i in range(width)]
    curve = [fit.at(d) for d in columns]
    square = [fit.at(fit.far_m) + Point().change_stops(fit.far_m, d) for d in columns]
    top = max(*curve, *square, *(point.stops for point in fit.points))
    low = min(*curve, *square, *(point.stops for point in fit.points))
    span = max(top - low, 0.1)
    canvas = [[" "] * width for _ in range(height)]

    def put(column: int, stops: float, sign: str) -> None:
        canvas[min(height - 1, max(0, round((top - stops) / span * (height - 1))))][column] = sign

    for i in range(width):
        put(i, square[i], "-")
        put(i, curve[i], "·")
    for point in fit.points:
        put(round(log(point.distance_m / near) / log(far / near) * (width - 1)), point.stops, "o")
    rows = ["".join(row).rstrip() for row in canvas]
    lines = [str(told("falloff_row", stops=top - span * i / (height - 1), row=row)) for i, row in enumerate(rows)]
    lines.append(str(told("falloff_axis", near_m=near, far_m=far, gap=" " * max(1, width - 14))))
    lines.append(str(told("falloff_legend", law=law_of(fit))))
    lines.append(str(told("falloff_span", low_m=fit.low_m, high_m=fit.high_m, near_m=fit.near_m, far_m=fit.far_m)))
    for point, residual in zip(fit.points, fit.residuals, strict=True):
        sign = "+" if residual >= 0 else "−"
        figures = {"distance_m": point.distance_m, "sign": sign, "off": abs(residual), "u95": 2 * point.u_stops}
        lines.append(str(told("falloff_point", **figures)))
    return lines
