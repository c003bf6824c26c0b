"""What was learnt as pictures: a modifier's falloff over distance, and how a head changes over its power dial."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import log2
from typing import NamedTuple

from meterlink import units
from meterlink.judging.falloff_runs import law_of
from meterlink.judging.fixture_curves import FixtureCurves
from meterlink.photometry.falloff import FalloffFit
from meterlink.report.axes import Axes, Box, round_ticks, style_of
from meterlink.report.drawing import FAINT, INK, PAPER, Drawing
from meterlink.words.language import say, with_decimal_sign
from meterlink.words.told import written

STEPS = 120
SCALE = 40
"""Characters of a scale in a terminal."""
TICKS_M = (0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0)
USABLE = "#f1f1f1"


def falloff_drawing(fit: FalloffFit, title: str) -> Drawing:
    """Return the plot: stops (0 at the nearest reading) over distance, the range in which the curve may be used in grey."""
    drawing = Drawing(520.0, 400.0, say("falloff of {modifier}", modifier=title))
    left, right = 52.0, 496.0
    near, far = 0.9 * min(fit.near_m, max(fit.low_m, 0.05)), 1.1 * max(fit.far_m, min(fit.high_m, 2 * fit.far_m))
    zero = fit.at(fit.near_m)
    distances = [near * (far / near) ** (i / STEPS) for i in range(STEPS + 1)]
    curve = [(d, fit.at(d) - zero) for d in distances]
    square = [(d, 2.0 * log2(fit.far_m / d) + fit.at(fit.far_m) - zero) for d in distances]
    values = [y for _, y in curve + square] + [p.stops - zero for p in fit.points]
    axes = Axes(drawing, Box(left, 46.0, right, 262.0), (near, far), (min(values) - 0.2, max(values) + 0.2), log_x=True)
    _usable(axes, fit)
    inside = [d for d in TICKS_M if near <= d <= far]
    ticks = inside if len(inside) >= 3 else round_ticks(near, far, 5)
    axes.frame(_length, _stops, y_title=say("stops from the nearest reading"), x_ticks=ticks)
    axes.curve(curve, 0)
    axes.curve(square, 2)
    for point in fit.points:
        _reading(axes, point.distance_m, point.stops - zero, point.u_stops)
    drawing.text((left - 34, 16), f"{title}: {law_of(fit)}", 10)
    _legend(drawing, right, fit)
    _residuals(drawing, fit, Box(left, 306.0, right, 374.0), (near, far), ticks)
    return drawing


def _stops(value: float) -> str:
    return with_decimal_sign(units.format_stops(value, 0 if value == int(value) else 1))


def _length(value_m: float) -> str:
    return written(value_m, "length")


def _usable(axes: Axes, fit: FalloffFit) -> None:
    a, b = axes.x(fit.low_m), axes.x(fit.high_m)
    box = axes.box
    axes.drawing.area([(a, box.top), (b, box.top), (b, box.bottom), (a, box.bottom)], USABLE, "none")
    used = say("may be used from {low:.2f} to {high:.2f} m", low=fit.low_m, high=fit.high_m)
    axes.drawing.text((a + 4, box.bottom - 5), used, 7.5)


def _reading(axes: Axes, distance_m: float, stops: float, u_stops: float) -> None:
    """A ring with its k=2 interval."""
    x, y = axes.at(distance_m, stops)
    axes.drawing.line([(x, axes.y(stops - 2 * u_stops)), (x, axes.y(stops + 2 * u_stops))], INK, 1.0)
    axes.drawing.circle((x, y), 3.5, PAPER, INK, 1.4)


def _legend(drawing: Drawing, right: float, fit: FalloffFit) -> None:
    x, y = right - 170.0, 62.0
    drawing.circle((x + 12, y - 3), 3.5, PAPER, INK, 1.4)
    drawing.text((x + 28, y), say("readings ({count}), ± k=2", count=len(fit.points)), 8)
    for index, text in ((0, say("fitted curve")), (2, say("inverse square from the front"))):
        y += 13
        colour, dash, width = style_of(index)
        drawing.line([(x, y - 3), (x + 24, y - 3)], colour, width, dash)
        drawing.text((x + 28, y), text, 8)


def _residuals(drawing: Drawing, fit: FalloffFit, box: Box, x_range: tuple[float, float], ticks: list[float]) -> None:
    size = max(0.1, *(abs(r) + 2 * p.u_stops for r, p in zip(fit.residuals, fit.points, strict=True))) * 1.1
    axes = Axes(drawing, box, x_range, (-size, size), log_x=True)
    half = round_ticks(0.0, size, 2)
    levels = sorted({*half, *(-v for v in half)})
    axes.frame(_length, lambda v: written(v, "stops2"), y_title=say("reading less curve, stops"),
               x_ticks=ticks, y_ticks=levels, x_title=say("distance from the front"))  # fmt: skip
    drawing.line([axes.at(x_range[0], 0.0), axes.at(x_range[1], 0.0)], FAINT, 1.0)
    for point, residual in zip(fit.points, fit.residuals, strict=True):
        _reading(axes, point.distance_m, residual, point.u_stops)

PANEL_HEIGHT, GAP = 110.0, 52.0
DURATIONS = tuple(log2(n) for n in (60, 125, 250, 500, 1000, 2000, 4000, 8000, 16000, 32000, 64000))
"""Ticks of t0.1 as log2 of 1/s."""


def drift_drawing(curves: FixtureCurves) -> Drawing:
    """Return one panel a quantity that is known at two powers or more.  Raises ValueError when none is."""
    panels = _panels(curves)
    if not panels:
        raise ValueError(f"{curves.name} was not read at two powers at least half a stop apart: nothing to plot")
    drawing = Drawing(460.0, 34.0 + len(panels) * (PANEL_HEIGHT + GAP), say("{head} over its power", head=curves.name))
    drawing.text((18, 16), say("{head} over its power, by its own readings", head=curves.name), 10)
    powers = [x for panel in panels for x, _ in panel.points]
    x_range = (min(powers) - 0.3, max(powers) + 0.3)
    for number, panel in enumerate(panels):
        top = 46.0 + number * (PANEL_HEIGHT + GAP)
        _draw(panel, drawing, Box(62.0, top, drawing.width - 24.0, top + PANEL_HEIGHT), x_range)
    return drawing


class _Panel(NamedTuple):
    """One quantity over power."""

    title: str
    points: Sequence[tuple[float, float]]
    text: Callable[[float], str]
    """A value in words."""
    least: float
    """Half of the least range that is shown: smaller changes are not worth a mountain."""
    levels: Sequence[float] = ()
    """Where a value's ticks may be; empty: at round numbers."""


def _panels(curves: FixtureCurves) -> list[_Panel]:
    """Every quantity that is known over power."""
    panels = []
    if len(curves.colours) > 1:
        colour = [(point.power_stops, point.mired) for point in curves.colours]
        title = say("colour in mired (its CCT in K): higher up is lower CCT")
        panels.append(_Panel(title, colour, lambda v: f"{v:.0f} ({1e6 / v:.0f})", 10.0))
    if curves.durations is not None:
        times = [(p, log2(1.0 / v)) for p, v in zip(curves.durations.power_stops, curves.durations.values, strict=True)]
        title = say("t0.1: higher up is shorter")
        panels.append(_Panel(title, times, lambda v: written(2.0**-v, "duration"), 0.5, DURATIONS))
    if curves.exposures is not None:
        dial = [(p, log2(v) - p + curves.exposures.power_stops[-1])
                for p, v in zip(curves.exposures.power_stops, curves.exposures.values, strict=True)]  # fmt: skip
        title = say("light delivered less what the dial says, stops")
        panels.append(_Panel(title, dial, lambda v: written(v, "stops2"), 0.2))
    return panels


def _draw(panel: _Panel, drawing: Drawing, box: Box, x_range: tuple[float, float]) -> None:
    values = [y for _, y in panel.points]
    middle = (min(values) + max(values)) / 2
    half = max((max(values) - min(values)) * 0.65, panel.least)
    axes = Axes(drawing, box, x_range, (middle - half, middle + half))
    ticks = [float(v) for v in range(round(x_range[0]), round(x_range[1]) + 1) if x_range[0] <= v <= x_range[1]]
    levels = [v for v in panel.levels if abs(v - middle) <= half] or round_ticks(middle - half, middle + half, 4)
    axes.frame(_power, panel.text, x_ticks=ticks or None, y_ticks=levels, x_title=say("power"))
    drawing.text((box.left - 44, box.top - 8), panel.title, 8)
    if box.top < axes.y(0.0) < box.bottom:
        drawing.line([axes.at(x_range[0], 0.0), axes.at(x_range[1], 0.0)], FAINT, 1.0)
    colour, _, width = style_of(0)
    drawing.line([axes.at(x, y) for x, y in panel.points], colour, width)
    for x, y in panel.points:
        drawing.circle(axes.at(x, y), 3.2, PAPER, INK, 1.3)


def _power(stops: float) -> str:
    return written(units.format_power(stops) if stops <= 0.0 else units.format_stops(stops), "figure")


def drift_lines(curves: FixtureCurves) -> list[str]:
    """Return colour and t0.1 over power as lines of text, one a power, each with a mark on a scale between the extremes."""
    lines = []
    if len(curves.colours) > 1:
        mireds = [point.mired for point in curves.colours]
        low, span = min(mireds), max(max(mireds) - min(mireds), 10.0)
        lines.append(say("colour over power, {mired:.0f} mired from end to end (right: lower CCT)", mired=max(mireds) - low))
        for point in curves.colours:
            duv = "" if point.duv is None else say("  Duv {duv}", duv=written(point.duv, "duv"))
            lines.append(_marked(point.power_stops, (point.mired - low) / span, f"{1e6 / point.mired:5.0f} K{duv}"))
    if curves.durations is not None:
        values = [log2(v) for v in curves.durations.values]
        low, span = min(values), max(max(values) - min(values), 1.0)
        lines.append(say("t0.1 over power (right: longer)"))
        for power, value in zip(curves.durations.power_stops, values, strict=True):
            lines.append(_marked(power, (value - low) / span, written(2.0**value, "duration")))
    return lines


def _marked(power_stops: float, part: float, text: str) -> str:
    """A power, a mark at a part of its scale, and what it stands for."""
    place = round(part * (SCALE - 1))
    return f"  {_power(power_stops):>10} |{'·' * place}o{' ' * (SCALE - 1 - place)}| {text}"
