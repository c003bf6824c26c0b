"""Where names can stand on a drawing without covering each other, the lights or the edge.

Each label has a list of places in the order of liking; it takes the first that is free, else the one that covers least, and
gets a thin line to what it names when it had to go away from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import cos, hypot, inf, pi, sin
from typing import NamedTuple

from meterlink.report.axes import Box
from meterlink.report.drawing import Drawing

WIDTH_PER_SIZE = 0.62
"""Mean width of a letter over its size in the sheet's fonts (DejaVu Sans is the widest of them)."""
CELL = 4.0
"""Side of a cell in points."""
LEADER = "#9a9a9a"
NAME_MAX = 22
"""Letters of a name on a drawing; the table has it whole."""


class Line(NamedTuple):
    """One line of a label."""

    text: str
    size: float
    colour: str


def short(name: str) -> str:
    """Return a name cut to what a drawing has room for, on one line."""
    plain = " ".join(name.split())
    return plain if len(plain) <= NAME_MAX else plain[: NAME_MAX - 1] + "…"


class Labels:
    """What is taken on one drawing: one bit a small cell, all in one integer, so that a place is weighed by a shift and a count."""

    def __init__(self, drawing: Drawing) -> None:
        self.drawing = drawing
        # Spare columns at the right: a box at the edge must not wrap into the next row.
        self._columns = int(drawing.width / CELL) + 3
        self._rows = int(drawing.height / CELL) + 3
        self._taken = 0

    def keep_free(self, points: Iterable[tuple[float, float]], margin: float = 2.0) -> None:
        """Take the box around some points: a light, the face, the camera."""
        xs, ys = zip(*points, strict=True)
        self._take(min(xs) - margin, min(ys) - margin, max(xs) + margin, max(ys) + margin)

    def _take(self, left: float, top: float, right: float, bottom: float) -> None:
        first, last = max(0, int(left / CELL)), min(self._columns - 1, int(right / CELL))
        high, low = max(0, int(top / CELL)), min(self._rows - 1, int(bottom / CELL))
        if first <= last and high <= low:
            self._taken |= self._block(last - first + 1, low - high + 1) << (high * self._columns + first)

    def _block(self, columns: int, rows: int) -> int:
        """Bits of a box in the upper left corner."""
        row, block = (1 << columns) - 1, 0
        for _ in range(rows):
            block = block << self._columns | row
        return block

    def keep_line_free(self, a: tuple[float, float], b: tuple[float, float]) -> None:
        """Take the cells along a line, so that labels stand beside it."""
        x, y = a[0] / CELL, a[1] / CELL
        count = int(max(abs(b[0] - a[0]), abs(b[1] - a[1])) / CELL) + 1
        dx, dy = (b[0] / CELL - x) / count, (b[1] / CELL - y) / count
        for i in range(count + 1):
            column, row = int(x + i * dx), int(y + i * dy)
            if 0 <= column < self._columns and 0 <= row < self._rows:
                self._taken |= 1 << (row * self._columns + column)

    def place(self, about: tuple[float, float], lines: Sequence[Line], reach: float, away: tuple[float, float]) -> None:
        """Write lines near ``about``: first ``reach`` away from it in the direction ``away``, else wherever there is room."""
        width = max(len(line.text) * line.size * WIDTH_PER_SIZE for line in lines)
        height = sum(line.size * 1.2 for line in lines)
        x, y = self._best(about, width, height, reach, away)
        box = Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        self._take(*box)
        self._write(about, lines, reach, box)

    def _best(
        self, about: tuple[float, float], width: float, height: float, reach: float, away: tuple[float, float]
    ) -> tuple[float, float]:
        """Middle of the place that covers least and is liked most; the search ends where no later place can be better."""
        length = hypot(*away) or 1.0
        c, s = away[0] / length, away[1] / length
        half_w, half_h = width / 2, height / 2
        right, bottom = self.drawing.width - half_w - 2, self.drawing.height - half_h - 2
        block = self._block(int(width / CELL) + 1, int(height / CELL) + 1)
        columns, taken, (x0, y0) = self._columns, self._taken, about
        least, best = inf, about
        for dislike, out, turn_c, turn_s in PLACES:
            if dislike >= least:
                break
            ux, uy = c * turn_c - s * turn_s, s * turn_c + c * turn_s
            # The box touches the ring with the side that looks at the point, and stays inside the drawing.
            r = reach + out
            x = min(max(x0 + ux * (r + half_w * abs(ux)), half_w + 2), right)
            y = min(max(y0 + uy * (r + half_h * abs(uy)), half_h + 2), bottom)
            first = max(0, int((x - half_w) / CELL)) + columns * max(0, int((y - half_h) / CELL))
            cost = dislike + (taken >> first & block).bit_count() * CELL * CELL
            if cost < least:
                least, best = cost, (x, y)
        return best

    def _write(self, about: tuple[float, float], lines: Sequence[Line], reach: float, box: Box) -> None:
        width = box.right - box.left
        middle = (box.left + box.right) / 2
        anchor = "start" if middle > about[0] + width * 0.3 else "end" if middle < about[0] - width * 0.3 else "middle"
        x = {"start": box.left, "end": box.right, "middle": middle}[anchor]
        near = (min(max(about[0], box.left), box.right), min(max(about[1], box.top), box.bottom))
        if hypot(near[0] - about[0], near[1] - about[1]) > reach * 1.6:
            self.drawing.line([about, near], LEADER, 0.5)
        y = box.top
        for line in lines:
            y += line.size * 1.2
            self.drawing.text((x, y - line.size * 0.25), line.text, line.size, anchor, line.colour)


TURNS = [step * (pi / 6) for step in range(-5, 7)]
PLACES = sorted((ring * 6.0 + abs(turn) * 4.0, ring * 11.0, cos(turn), sin(turn)) for ring in range(5) for turn in TURNS)
"""Places around a point, the most liked first: (how much it is disliked, how far out, cosine and sine of the turn)."""
