"""A modifier's measured falloff as a picture: readings, the fitted curve, plain inverse square, and the residuals below."""

from __future__ import annotations

from math import log2
from pathlib import Path

from meterlink import units
from meterlink.photometry.falloff import FalloffFit
from meterlink.report.axes import Axes, Box, round_ticks, style_of
from meterlink.report.drawing import FAINT, INK, PAPER, Drawing

__all__ = ["falloff_drawing", "write_falloff_picture"]

STEPS = 120
TICKS_M = (0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0)
USABLE = "#f1f1f1"


def write_falloff_picture(fit: FalloffFit, path: str | Path, title: str) -> None:
    """Write the plot as .png or .svg, by the name's ending.  Raises UsageError or StorageError."""
    falloff_drawing(fit, title).write(path)


def falloff_drawing(fit: FalloffFit, title: str, width: float = 520.0) -> Drawing:
    """Return the plot: stops (0 at the nearest reading) over distance, the range in which the curve may be used in grey."""
    drawing = Drawing(width, 400.0, f"falloff of {title}")
    left, right = 52.0, width - 24.0
    near, far = 0.9 * min(fit.near_m, max(fit.low_m, 0.05)), 1.1 * max(fit.far_m, min(fit.high_m, 2 * fit.far_m))
    zero = fit.at(fit.near_m)
    distances = [near * (far / near) ** (i / STEPS) for i in range(STEPS + 1)]
    curve = [(d, fit.at(d) - zero) for d in distances]
    square = [(d, 2.0 * log2(fit.far_m / d) + fit.at(fit.far_m) - zero) for d in distances]
    values = [y for _, y in curve + square] + [p.stops - zero for p in fit.points]
    axes = Axes(drawing, Box(left, 46.0, right, 262.0), (near, far), (min(values) - 0.2, max(values) + 0.2), log_x=True)
    _usable(axes, fit)
    ticks = _distance_ticks(near, far)
    axes.frame(units.format_length, _stops, y_title="stops from the nearest reading", x_ticks=ticks)
    axes.curve(curve, 0)
    axes.curve(square, 2)
    for point in fit.points:
        _reading(axes, point.distance_m, point.stops - zero, point.u_stops)
    drawing.text((left - 34, 16), f"{title}: {law_words(fit)}", 10)
    _legend(drawing, right, fit)
    _residuals(drawing, fit, Box(left, 306.0, right, 374.0), (near, far), ticks)
    return drawing


def _stops(value: float) -> str:
    return units.format_stops(value, 0 if value == int(value) else 1)


def law_words(fit: FalloffFit) -> str:
    """The fitted law in words, with k=2."""
    if fit.law == "disk":
        return f"like a disk of {fit.parameter_m * 200:.0f} ± {fit.u_parameter_m * 400:.0f} cm"
    return f"inverse square from {fit.parameter_m * 100:.0f} ± {fit.u_parameter_m * 200:.0f} cm behind the front"


def _distance_ticks(near: float, far: float) -> list[float]:
    inside = [d for d in TICKS_M if near <= d <= far]
    return inside if len(inside) >= 3 else round_ticks(near, far, 5)


def _usable(axes: Axes, fit: FalloffFit) -> None:
    a, b = axes.x(fit.low_m), axes.x(fit.high_m)
    box = axes.box
    axes.drawing.area([(a, box.top), (b, box.top), (b, box.bottom), (a, box.bottom)], USABLE, "none")
    axes.drawing.text((a + 4, box.bottom - 5), f"may be used from {fit.low_m:.2f} to {fit.high_m:.2f} m", 7.5)


def _reading(axes: Axes, distance_m: float, stops: float, u_stops: float) -> None:
    """A ring with its k=2 interval."""
    x, y = axes.at(distance_m, stops)
    axes.drawing.line([(x, axes.y(stops - 2 * u_stops)), (x, axes.y(stops + 2 * u_stops))], INK, 1.0)
    axes.drawing.circle((x, y), 3.5, PAPER, INK, 1.4)


def _legend(drawing: Drawing, right: float, fit: FalloffFit) -> None:
    x, y = right - 170.0, 62.0
    drawing.circle((x + 12, y - 3), 3.5, PAPER, INK, 1.4)
    drawing.text((x + 28, y), f"readings ({len(fit.points)}), ± k=2", 8)
    for index, text in ((0, "fitted curve"), (2, "inverse square from the front")):
        y += 13
        colour, dash, width = style_of(index)
        drawing.line([(x, y - 3), (x + 24, y - 3)], colour, width, dash)
        drawing.text((x + 28, y), text, 8)


def _residuals(drawing: Drawing, fit: FalloffFit, box: Box, x_range: tuple[float, float], ticks: list[float]) -> None:
    size = max(0.1, *(abs(r) + 2 * p.u_stops for r, p in zip(fit.residuals, fit.points, strict=True))) * 1.1
    axes = Axes(drawing, box, x_range, (-size, size), log_x=True)
    half = round_ticks(0.0, size, 2)
    levels = sorted({*half, *(-v for v in half)})
    axes.frame(units.format_length, lambda v: units.format_stops(v, 2), y_title="reading less curve, stops", x_ticks=ticks,
               y_ticks=levels, x_title="distance from the front")  # fmt: skip
    drawing.line([axes.at(x_range[0], 0.0), axes.at(x_range[1], 0.0)], FAINT, 1.0)
    for point, residual in zip(fit.points, fit.residuals, strict=True):
        _reading(axes, point.distance_m, residual, point.u_stops)
