"""How a head changes over its power dial: colour, flash duration and light delivered, from its own readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import log2

from meterlink import units
from meterlink.judging.fixture_curves import FixtureCurves
from meterlink.report.axes import Axes, Box, round_ticks, style_of
from meterlink.report.drawing import FAINT, INK, PAPER, Drawing

__all__ = ["drift_drawing", "drift_lines"]

PANEL_HEIGHT, GAP = 110.0, 52.0
DURATIONS = tuple(log2(n) for n in (60, 125, 250, 500, 1000, 2000, 4000, 8000, 16000, 32000, 64000))
"""Ticks of t0.1 as log2 of 1/s."""


def drift_drawing(curves: FixtureCurves, width: float = 460.0) -> Drawing:
    """Return one panel a quantity that is known at two powers or more.  Raises ValueError when none is."""
    panels = _panels(curves)
    if not panels:
        raise ValueError(f"{curves.name} was not read at two powers at least half a stop apart: nothing to plot")
    drawing = Drawing(width, 34.0 + len(panels) * (PANEL_HEIGHT + GAP), f"{curves.name} over its power")
    drawing.text((18, 16), f"{curves.name} over its power, by its own readings", 10)
    powers = [x for _, points, _ in panels for x, _ in points]
    x_range = (min(powers) - 0.3, max(powers) + 0.3)
    for number, (title, points, text) in enumerate(panels):
        top = 46.0 + number * (PANEL_HEIGHT + GAP)
        _panel(drawing, Box(62.0, top, width - 24.0, top + PANEL_HEIGHT), x_range, title, points, text)
    return drawing


def _panels(curves: FixtureCurves) -> list[tuple[str, list[tuple[float, float]], Callable[[float], str]]]:
    """(title, points, text of a value) of every quantity that is known over power."""
    panels: list[tuple[str, list[tuple[float, float]], Callable[[float], str]]] = []
    if len(curves.colours) > 1:
        colour = [(point.power_stops, point.mired) for point in curves.colours]
        panels.append(("colour in mired (its CCT in K): higher up is lower CCT", colour, lambda v: f"{v:.0f} ({1e6 / v:.0f})"))
    if curves.durations is not None:
        times = [(p, log2(1.0 / v)) for p, v in zip(curves.durations.power_stops, curves.durations.values, strict=True)]
        panels.append(("t0.1: higher up is shorter", times, lambda v: units.format_duration(2.0**-v)))
    if curves.exposures is not None:
        dial = [(p, log2(v) - p + curves.exposures.power_stops[-1])
                for p, v in zip(curves.exposures.power_stops, curves.exposures.values, strict=True)]  # fmt: skip
        panels.append(("light delivered less what the dial says, stops", dial, lambda v: units.format_stops(v, 2)))
    return panels


def _panel(
    drawing: Drawing,
    box: Box,
    x_range: tuple[float, float],
    title: str,
    points: Sequence[tuple[float, float]],
    text: Callable[[float], str],
) -> None:
    values = [y for _, y in points]
    middle, least = (min(values) + max(values)) / 2, 0.2 if "stops" in title else 0.5 if "t0.1" in title else 10.0
    half = max((max(values) - min(values)) * 0.65, least)
    axes = Axes(drawing, box, x_range, (middle - half, middle + half))
    ticks = [float(v) for v in range(round(x_range[0]), round(x_range[1]) + 1) if x_range[0] <= v <= x_range[1]]
    levels = round_ticks(middle - half, middle + half, 4)
    if "t0.1" in title:
        levels = [v for v in DURATIONS if middle - half <= v <= middle + half]
    axes.frame(_power, text, x_ticks=ticks or None, y_ticks=levels, x_title="power")
    drawing.text((box.left - 44, box.top - 8), title, 8)
    if box.top < axes.y(0.0) < box.bottom:
        drawing.line([axes.at(x_range[0], 0.0), axes.at(x_range[1], 0.0)], FAINT, 1.0)
    colour, _, width = style_of(0)
    drawing.line([axes.at(x, y) for x, y in points], colour, width)
    for x, y in points:
        drawing.circle(axes.at(x, y), 3.2, PAPER, INK, 1.3)


def _power(stops: float) -> str:
    return units.format_power(stops) if stops <= 0.0 else units.format_stops(stops)


def drift_lines(curves: FixtureCurves, width: int = 40) -> list[str]:
    """Return colour and t0.1 over power as lines of text, one a power, each with a mark on a scale between the extremes."""
    if not 10 <= width <= 120:
        raise ValueError(f"a scale of {width} characters: it must be 10 to 120")
    lines = []
    if len(curves.colours) > 1:
        mireds = [point.mired for point in curves.colours]
        low, span = min(mireds), max(max(mireds) - min(mireds), 10.0)
        lines.append(f"colour over power, {max(mireds) - low:.0f} mired from end to end (right: lower CCT)")
        for point in curves.colours:
            mark = round((point.mired - low) / span * (width - 1))
            duv = "" if point.duv is None else f"  Duv {point.duv:+.3f}"
            lines.append(f"  {_power(point.power_stops):>10} |{_mark(mark, width)}| {1e6 / point.mired:5.0f} K{duv}")
    if curves.durations is not None:
        values = [log2(v) for v in curves.durations.values]
        low, span = min(values), max(max(values) - min(values), 1.0)
        lines.append("t0.1 over power (right: longer)")
        for power, value in zip(curves.durations.power_stops, values, strict=True):
            mark = round((value - low) / span * (width - 1))
            said = units.format_duration(2.0**value)
            lines.append(f"  {_power(power):>10} |{_mark(mark, width)}| {said}")
    return lines


def _mark(place: int, width: int) -> str:
    return f"{'·' * place}o{' ' * (width - 1 - place)}"
