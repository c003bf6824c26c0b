"""Where names can stand on a drawing without covering each other, the lights or the edge.

Each label has a list of places in the order of liking; it takes the first that is free, else the one that covers least, and
gets a thin line to what it names when it had to go away from it.
"""

from __future__ import annotations

from typing import NamedTuple

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from meterlink.sheet.drawing import Drawing

WIDTH_PER_SIZE = 0.62
"""Mean width of a letter over its size in the sheet's fonts (DejaVu Sans is the widest of them)."""
NAME_MAX = 22
"""Letters of a name on a drawing; the table has it whole."""


class Box(NamedTuple):
    """A rectangle that is taken."""

    left: float
    top: float
    right: float
    bottom: float

    def overlap(self, other: Box) -> float:
        """Area that both cover."""
        width = min(self.right, other.right) - max(self.left, other.left)
        height = min(self.bottom, other.bottom) - max(self.top, other.top)
        return width * height if width > 0 and height > 0 else 0.0


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
    """What is taken on one drawing."""

    def __init__(self, drawing: Drawing) -> None:
        self.drawing = drawing
        self._taken: list[Box] = []

    def keep_free(self, points: Iterable[tuple[float, float]], margin: float = 2.0) -> None:
        """Take the box around some points: a light, the face, the camera."""
        xs, ys = zip(*points, strict=True)
        self._taken.append(Box(min(xs) - margin, min(ys) - margin, max(xs) + margin, max(ys) + margin))

    def keep_line_free(self, a: tuple[float, float], b: tuple[float, float], width: float = 3.0) -> None:
        """Take a chain of small boxes along a line, so that labels stand beside it."""
        count = max(2, int(((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2) ** 0.5 / (2 * width)))
        for i in range(count + 1):
            x, y = a[0] + (b[0] - a[0]) * i / count, a[1] + (b[1] - a[1]) * i / count
            self._taken.append(Box(x - width / 2, y - width / 2, x + width / 2, y + width / 2))

    def place(self, about: tuple[float, float], lines: Sequence[Line], reach: float, away: tuple[float, float]) -> None:
        """Write lines near ``about``: first ``reach`` away from it in the direction ``away``, else wherever there is room."""
        width = max(len(line.text) * line.size * WIDTH_PER_SIZE for line in lines)
        height = sum(line.size * 1.2 for line in lines)
        best = min(
            ((self._cost(box) + dislike, box) for box, dislike in _places(about, width, height, reach, away)),
            key=lambda one: one[0],
        )[1]
        self._taken.append(best)
        centre = ((best.left + best.right) / 2, (best.top + best.bottom) / 2)
        anchor = "start" if centre[0] > about[0] + width * 0.3 else "end" if centre[0] < about[0] - width * 0.3 else "middle"
        x = {"start": best.left, "end": best.right, "middle": centre[0]}[anchor]
        near = (min(max(about[0], best.left), best.right), min(max(about[1], best.top), best.bottom))
        if (near[0] - about[0]) ** 2 + (near[1] - about[1]) ** 2 > (reach * 1.6) ** 2:
            self.drawing.line([about, near], "#9a9a9a", 0.5)
        y = best.top
        for line in lines:
            y += line.size * 1.2
            self.drawing.text((x, y - line.size * 0.25), line.text, line.size, anchor, line.colour)

    def _cost(self, box: Box) -> float:
        """Area that the box covers of what is taken, and ten times what leaves the drawing."""
        inside = box.overlap(Box(2, 2, self.drawing.width - 2, self.drawing.height - 2))
        area = (box.right - box.left) * (box.bottom - box.top)
        return sum(box.overlap(other) for other in self._taken) + 10 * (area - inside)


def _places(
    about: tuple[float, float], width: float, height: float, reach: float, away: tuple[float, float]
) -> Iterable[tuple[Box, float]]:
    """Places around a point with how much each is disliked: by distance and by the turn from the direction wished."""
    from math import atan2, cos, pi, sin

    start = atan2(away[1], away[0])
    for ring in range(5):
        for step in range(12):
            turn = (step + 1) // 2 * (pi / 6) * (1 if step % 2 else -1)
            angle = start + turn
            ux, uy = cos(angle), sin(angle)
            # The box touches the ring with the side that looks at the point.
            r = reach + ring * 11
            x, y = about[0] + ux * (r + width / 2 * abs(ux)), about[1] + uy * (r + height / 2 * abs(uy))
            box = Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
            yield box, ring * 6.0 + abs(turn) * 4.0
