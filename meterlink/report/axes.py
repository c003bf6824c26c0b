"""Axes of a plot in a drawing: frame, ticks at round values, data to points.  Linear or logarithmic along x."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import ceil, floor, isfinite, log, log10
from typing import NamedTuple

from meterlink.report.drawing import ACCENT, FAINT, INK, SECOND, Drawing

GRID = "#dedede"
LINE_STYLES: tuple[tuple[str, tuple[float, ...], float], ...] = (
    (INK, (), 1.6),
    (ACCENT, (7, 3), 1.6),
    (SECOND, (2, 2.5), 1.8),
    (INK, (9, 3, 2, 3), 1.3),
    (ACCENT, (3, 2, 1, 2), 1.3),
    (SECOND, (12, 3), 1.3),
    (INK, (1.5, 3.5), 1.8),
    (ACCENT, (14, 2, 2, 2), 1.4),
    (SECOND, (5, 2, 5, 2, 1, 2), 1.4),
    (INK, (18, 5), 1.2),
    (ACCENT, (3, 6), 1.8),
    (SECOND, (10, 2, 2, 2, 2, 2), 1.4),
)
"""(colour, dash, width): lines differ without colour, too; after twelve they begin anew."""


class Box(NamedTuple):
    """Where the plot is, in points."""

    left: float
    top: float
    right: float
    bottom: float


def style_of(index: int) -> tuple[str, tuple[float, ...], float]:
    """Return colour, dash and width of a line by its number."""
    return LINE_STYLES[index % len(LINE_STYLES)]


def round_ticks(low: float, high: float, wanted: int = 5) -> list[float]:
    """Return values 1, 2 or 5 times a power of ten apart within a range; about ``wanted`` of them."""
    span = high - low
    if not (isfinite(span) and span > 0.0):
        raise ValueError(f"a range from {low!r} to {high!r} has no ticks")
    step = 10.0 ** floor(log10(span / wanted))
    step *= next(factor for factor in (1.0, 2.0, 5.0, 10.0) if span / (step * factor) <= wanted)
    first = ceil(low / step - 1e-9)
    last = floor(high / step + 1e-9)
    return [i * step for i in range(first, last + 1)]


class Axes:
    """A plot's frame; ``at(x, y)`` gives the point of a value, kept inside the frame."""

    def __init__(
        self, drawing: Drawing, box: Box, x_range: tuple[float, float], y_range: tuple[float, float], *, log_x: bool = False
    ) -> None:
        for low, high in (x_range, y_range):
            if not (isfinite(low) and isfinite(high) and high > low):
                raise ValueError(f"an axis from {low!r} to {high!r} cannot be drawn")
        if log_x and x_range[0] <= 0.0:
            raise ValueError("a logarithmic axis begins above 0")
        self.drawing, self.box = drawing, box
        self.x_range, self.y_range, self.log_x = x_range, y_range, log_x

    def x(self, value: float) -> float:
        """Return the horizontal place of a value, kept inside the frame."""
        low, high = self.x_range
        value = min(max(value, low), high)
        part = log(value / low) / log(high / low) if self.log_x else (value - low) / (high - low)
        return self.box.left + part * (self.box.right - self.box.left)

    def y(self, value: float) -> float:
        """Return the vertical place of a value, kept inside the frame."""
        low, high = self.y_range
        value = min(max(value, low), high)
        return self.box.bottom - (value - low) / (high - low) * (self.box.bottom - self.box.top)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return the point of a pair of values."""
        return self.x(x), self.y(y)

    def frame(
        self,
        x_text: Callable[[float], str],
        y_text: Callable[[float], str],
        *,
        x_title: str = "",
        y_title: str = "",
        x_ticks: Sequence[float] | None = None,
        y_ticks: Sequence[float] | None = None,
    ) -> None:
        """Draw grid, ticks and titles (before the lines, so that these lie on top)."""
        d, box = self.drawing, self.box
        for value in x_ticks if x_ticks is not None else round_ticks(*self.x_range, 6):
            d.line([(self.x(value), box.top), (self.x(value), box.bottom)], GRID, 0.6)
            d.text((self.x(value), box.bottom + 11), x_text(value), 8, "middle")
        for value in y_ticks if y_ticks is not None else round_ticks(*self.y_range):
            d.line([(box.left, self.y(value)), (box.right, self.y(value))], GRID, 0.6)
            d.text((box.left - 4, self.y(value) + 3), y_text(value), 8, "end")
        d.line([(box.left, box.top), (box.left, box.bottom), (box.right, box.bottom)], FAINT, 1.0)
        if x_title:
            d.text((box.right, box.bottom + 23), x_title, 8, "end")
        if y_title:
            d.text((box.left - 34, box.top - 7), y_title, 8)

    def curve(self, points: Sequence[tuple[float, float]], index: int = 0) -> None:
        """Draw a line through values in the style of its number."""
        colour, dash, width = style_of(index)
        self.drawing.line([self.at(x, y) for x, y in points], colour, width, dash)
