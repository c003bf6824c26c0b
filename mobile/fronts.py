"""Fronts of sources, drawn to one scale with a face beside them."""

from __future__ import annotations

from kivy.graphics import Color, Line
from kivy.metrics import dp
from kivy.properties import ObjectProperty

from mobile.drawings import Drawing, look
from mobile.lights_state import Source
from mobile.taps import Tap

FACE_M = (0.16, 0.23)
"""A face, for scale (common practice, no published source)."""
LARGEST_M = 1.9
"""The largest front that a tile shows whole."""


class SourceTile(Tap):
    """A front to choose, drawn to scale with a face beside it."""

    source = ObjectProperty(None, allownone=True)

    def dress(self, *_: object) -> None:
        """Leave room for the drawing above the text."""
        super().dress()
        self.padding = [0, look().target, 0, 0]

    def measure(self) -> None:
        """Never narrower than its drawing."""
        super().measure()
        self.natural_width = max(self.natural_width, look().target * 1.5)

    def _paint(self, *_: object) -> None:
        super()._paint()
        if self.source is None:
            return
        with self.canvas.after:
            paint_front(self.source, self.center_x, self.top - look().target * 0.55, look().target)


def paint_front(source: Source, cx: float, cy: float, tall: float) -> None:
    """Draw the front of a source with a face beside it, all sources on one scale."""
    scale = tall / LARGEST_M
    width = (source.width_m or 0.08) * scale
    height = (source.height_m or source.width_m or 0.08) * scale if source.shape == "rectangle" else width
    face_w, face_h = (side * scale for side in FACE_M)
    left = cx - (width + face_w + dp(4)) / 2
    Color(*look().ink)
    if source.shape == "rectangle":
        Line(rectangle=(left, cy - height / 2, width, height), width=1.4)
    else:
        Line(ellipse=(left, cy - height / 2, width, height), width=1.4)
    Color(*look().quiet)
    Line(ellipse=(left + width + dp(4), cy - face_h / 2, face_w, face_h), width=1.1)


class OutlineView(Drawing):
    """The front of the source that was chosen, to scale."""

    source = ObjectProperty(None, allownone=True)
    FOLLOWS = ("source",)

    def paint(self) -> None:
        """Draw it."""
        if self.source is not None:
            paint_front(self.source, self.center_x, self.center_y, self.height)
