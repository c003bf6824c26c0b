"""A picture as a list of lines, shapes and texts, written as SVG (any size, for pages) or PNG (for messages).

Coordinates are in points with y downward.  Nothing here knows what is drawn; plan, waveform and plots all end here, so
that every picture exists in both forms and looks the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from meterlink.errors import UsageError
from meterlink.library.files import write_whole

FONT = "'DejaVu Sans', Verdana, Arial, sans-serif"
INK, FAINT, PAPER, ACCENT, SECOND = "#1c1c1c", "#9a9a9a", "#ffffff", "#9c3d00", "#005a8c"
"""Ink on paper: the sheet is printed in grey as often as in colour, so shape and line style carry the meaning."""


class Shape(NamedTuple):
    """One stroke, area or text."""

    kind: str
    """``line`` (open), ``area`` (closed), ``circle`` (centre, and a point whose x is the radius) or ``text``."""
    points: tuple[tuple[float, float], ...]
    stroke: str = INK
    fill: str = "none"
    width: float = 1.0
    dash: tuple[float, ...] = ()
    text: str = ""
    size: float = 9.0
    anchor: str = "start"
    """``start``, ``middle`` or ``end``."""


class Drawing:
    """A picture under construction."""

    def __init__(self, width: float, height: float, title: str = "") -> None:
        self.width, self.height, self.title = width, height, title
        self.shapes: list[Shape] = []

    def line(
        self, points: Sequence[tuple[float, float]], stroke: str = INK, width: float = 1.0, dash: tuple[float, ...] = ()
    ) -> None:
        """An open line through the points."""
        self.shapes.append(Shape("line", tuple(points), stroke, width=width, dash=dash))

    def area(self, points: Sequence[tuple[float, float]], fill: str = "none", stroke: str = INK, width: float = 1.0) -> None:
        """A closed outline."""
        self.shapes.append(Shape("area", tuple(points), stroke, fill, width))

    def circle(self, centre: tuple[float, float], radius: float, fill: str = "none", stroke: str = INK, width: float = 1.0) -> None:
        """A circle."""
        self.shapes.append(Shape("circle", (centre, (radius, 0.0)), stroke, fill, width))

    def text(self, at: tuple[float, float], text: str, size: float = 9.0, anchor: str = "start", colour: str = INK) -> None:
        """A line of text whose baseline begins, is centred or ends at a place."""
        self.shapes.append(Shape("text", (at,), colour, text=text, size=size, anchor=anchor))

    def svg(self) -> str:
        """Return the picture as an SVG element; every text is escaped."""
        w, h = f"{self.width:.0f}", f"{self.height:.0f}"
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" width="{w}" height="{h}" role="img" '
            f'font-family="{FONT}"><title>{escape(self.title)}</title>'
        ]
        parts += [_svg(shape) for shape in self.shapes]
        parts.append("</svg>")
        return "".join(parts)

    def png(self, scale: float = 2.0) -> bytes:
        """Return the picture as PNG, ``scale`` pixels a point."""
        from PIL import Image, ImageDraw, ImageFont

        # Drawn twice as large and shrunk: Pillow's lines have no smoothing of their own.
        fine = scale * 2
        image = Image.new("RGB", (round(self.width * fine), round(self.height * fine)), PAPER)
        draw = ImageDraw.Draw(image)
        fonts: dict[float, ImageFont.FreeTypeFont | ImageFont.ImageFont] = {}
        for shape in self.shapes:
            points = [(x * fine, y * fine) for x, y in shape.points]
            width = max(1, round(shape.width * fine))
            fill = None if shape.fill == "none" else shape.fill
            stroke = None if shape.stroke == "none" else shape.stroke
            if shape.kind == "text":
                font = fonts.setdefault(shape.size, ImageFont.load_default(shape.size * fine))
                anchor = {"start": "ls", "middle": "ms", "end": "rs"}[shape.anchor]
                # The font that comes with Pillow has no true minus.
                draw.text(points[0], shape.text.replace("\u2212", "-"), fill=stroke, font=font, anchor=anchor)
            elif shape.kind == "circle":
                (x, y), (r, _) = points
                draw.ellipse((x - r, y - r, x + r, y + r), fill=fill, outline=stroke, width=width)
            elif shape.kind == "area":
                if fill:
                    draw.polygon(points, fill=fill)
                if stroke:
                    draw.line([*points, points[0]], fill=stroke, width=width, joint="curve")
            else:
                for piece in _dashed(points, [d * fine for d in shape.dash]) if shape.dash else [points]:
                    draw.line(piece, fill=stroke, width=width, joint="curve")
        size = (round(self.width * scale), round(self.height * scale))
        out = BytesIO()
        image.resize(size, Image.Resampling.LANCZOS).save(out, "PNG", optimize=True)
        return out.getvalue()

    def write(self, path: str | Path) -> None:
        """Write ``.svg`` or ``.png`` by the name's ending.  Raises UsageError for another, StorageError when it cannot."""
        target = Path(path)
        kind = target.suffix.lower()
        if kind not in (".svg", ".png"):
            raise UsageError("{target}: a picture is written as .svg or .png: choose one of these endings", target=target.name)
        data = self.svg().encode() if kind == ".svg" else self.png()
        write_whole(target, data)


def _svg(shape: Shape) -> str:
    if shape.kind == "text":
        (x, y), = shape.points  # fmt: skip
        return (
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{shape.size:g}" text-anchor="{shape.anchor}" '
            f'fill="{shape.stroke}">{escape(shape.text)}</text>'
        )
    style = f'stroke="{shape.stroke}" fill="{shape.fill}" stroke-width="{shape.width:g}"'
    if shape.dash:
        style += f' stroke-dasharray="{" ".join(f"{d:g}" for d in shape.dash)}"'
    if shape.kind == "circle":
        (x, y), (r, _) = shape.points
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" {style}/>'
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in shape.points)
    tag = "polyline" if shape.kind == "line" else "polygon"
    return f'<{tag} points="{points}" {style} stroke-linejoin="round"/>'


def _dashed(points: list[tuple[float, float]], dash: list[float]) -> list[list[tuple[float, float]]]:
    """Cut a line into its dashes."""
    pieces: list[list[tuple[float, float]]] = []
    on, left, turn = True, dash[0], 0
    for (x0, y0), (x1, y1) in pairwise(points):
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        done = 0.0
        while length - done > 1e-9:
            step = min(left, length - done)
            a, b = done / length, (done + step) / length
            if on:
                pieces.append([(x0 + a * (x1 - x0), y0 + a * (y1 - y0)), (x0 + b * (x1 - x0), y0 + b * (y1 - y0))])
            done += step
            left -= step
            if left <= 1e-9:
                turn += 1
                on = not on
                left = dash[turn % len(dash)]
    return pieces
