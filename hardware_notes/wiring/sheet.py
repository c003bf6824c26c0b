"""A few circuit symbols as SVG: enough for the diagrams of the build notes, drawn by us."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

INK, PAPER, NOTE, WIRE = "#1c2733", "#ffffff", "#5a6772", "#1c2733"
Point = tuple[float, float]


class Sheet:
    """Collects shapes; ``svg()`` returns the drawing.  Coordinates in pixels, y down."""

    def __init__(self, width: int, height: int, title: str) -> None:
        self.width, self.height, self.title = width, height, title
        self.parts: list[str] = []
        self.text(20, 32, title, size=18, bold=True)

    # ------------------------------------------------------------------------------------------------ plain shapes

    def text(
        self, x: float, y: float, words: str, *, size: int = 13, anchor: str = "start", bold: bool = False, colour: str = INK
    ) -> None:
        """Write a line of text."""
        weight = ' font-weight="bold"' if bold else ""
        self.parts.append(
            f'<text x="{x:g}" y="{y:g}" font-size="{size}" text-anchor="{anchor}" fill="{colour}"{weight}>{escape(words)}</text>'
        )

    def notes(self, x: float, y: float, lines: Sequence[str]) -> None:
        """Write several lines in the colour of notes."""
        for i, line in enumerate(lines):
            self.text(x, y + 18 * i, line, colour=NOTE)

    def wire(self, *points: Point, dashed: bool = False, width: float = 1.8) -> None:
        """Draw a wire through the points."""
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        dash = ' stroke-dasharray="5 4"' if dashed else ""
        self.parts.append(f'<polyline points="{path}" fill="none" stroke="{WIRE}" stroke-width="{width}"{dash}/>')

    def dot(self, x: float, y: float) -> None:
        """Mark a junction."""
        self.parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="4" fill="{INK}"/>')

    def path(self, d: str, fill: str = "none", width: float = 1.8) -> None:
        """Draw any path."""
        self.parts.append(f'<path d="{d}" fill="{fill}" stroke="{INK}" stroke-width="{width}"/>')

    def box(
        self, x: float, y: float, w: float, h: float, name: str, *, left: Sequence[str] = (), right: Sequence[str] = ()
    ) -> dict[str, Point]:
        """Draw a part as a box with pins; return where each pin's wire begins."""
        self.parts.append(
            f'<rect x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}" rx="4" fill="#f3f5f7" stroke="{INK}" stroke-width="1.8"/>'
        )
        for i, line in enumerate(name.split("\n")):
            self.text(x + w / 2, y + 22 + 17 * i, line, anchor="middle", bold=i == 0)
        pins: dict[str, Point] = {}
        for side, names in (("l", left), ("r", right)):
            for i, pin in enumerate(names):
                py = y + h - 18 - 26 * (len(names) - 1 - i)
                px = x if side == "l" else x + w
                step = -18 if side == "l" else 18
                self.wire((px, py), (px + step, py))
                self.text(px + (7 if side == "l" else -7), py + 4, pin, size=12, anchor="start" if side == "l" else "end")
                pins[pin] = (px + step, py)
        return pins

    # ---------------------------------------------------------------------------------------------------- symbols

    def resistor(self, a: Point, b: Point, label: str) -> None:
        """Draw a resistor between two points on one horizontal or vertical line."""
        self._two_pole(a, b, label, self._resistor_body)

    def capacitor(self, a: Point, b: Point, label: str) -> None:
        """Draw a capacitor between two points on one horizontal or vertical line."""
        self._two_pole(a, b, label, self._capacitor_body)

    def _two_pole(self, a: Point, b: Point, label: str, body: Callable[[float, float, bool], float]) -> None:
        (ax, ay), (bx, by) = a, b
        horizontal = ay == by
        mx, my = (ax + bx) / 2, (ay + by) / 2
        half = body(mx, my, horizontal)
        if horizontal:
            self.wire(a, (mx - half, my))
            self.wire((mx + half, my), b)
            self.text(mx, my - 14, label, anchor="middle")
        else:
            self.wire(a, (mx, my - half))
            self.wire((mx, my + half), b)
            self.text(mx + 16, my + 5, label)

    def _resistor_body(self, x: float, y: float, horizontal: bool) -> float:
        w, h = (44, 16) if horizontal else (16, 44)
        self.parts.append(
            f'<rect x="{x - w / 2:g}" y="{y - h / 2:g}" width="{w}" height="{h}" fill="{PAPER}" stroke="{INK}" stroke-width="1.8"/>'
        )
        return 22

    def _capacitor_body(self, x: float, y: float, horizontal: bool) -> float:
        if horizontal:
            self.path(f"M{x - 4:g} {y - 13:g}V{y + 13:g}M{x + 4:g} {y - 13:g}V{y + 13:g}", width=2.4)
        else:
            self.path(f"M{x - 13:g} {y - 4:g}H{x + 13:g}M{x - 13:g} {y + 4:g}H{x + 13:g}", width=2.4)
        return 4

    def photodiode(self, cathode: Point, anode: Point, label: str) -> None:
        """Draw a photodiode standing on its anode (cathode above), with two rays."""
        (x, top), (_, bottom) = cathode, anode
        mid = (top + bottom) / 2
        self.wire(cathode, (x, mid - 14))
        self.wire((x, mid + 14), anode)
        self.path(f"M{x - 15:g} {mid + 14:g}H{x + 15:g}L{x:g} {mid - 12:g}Z", fill=PAPER)
        self.path(f"M{x - 15:g} {mid - 14:g}H{x + 15:g}", width=2.4)
        for dy in (-14, 4):
            self.path(f"M{x - 52:g} {mid + dy:g}l24 8m-9 -7l9 7l-11 2")
        self.text(x - 20, mid + 42, label, anchor="end")
        self.text(x + 12, top + 16, "cathode", size=11, colour=NOTE)

    def opamp(self, x: float, y: float, label: str) -> dict[str, Point]:
        """Draw an amplifier, minus input above; (x, y) is its left middle."""
        self.path(f"M{x:g} {y - 46:g}V{y + 46:g}L{x + 84:g} {y:g}Z", fill="#f3f5f7")
        self.text(x + 8, y - 18, "–", size=16)
        self.text(x + 8, y + 28, "+", size=16)
        self.text(x + 34, y + 48, label, size=11)
        return {"-": (x, y - 22), "+": (x, y + 22), "out": (x + 84, y)}

    def gate_switch(self, a: Point, b: Point, label: str) -> Point:
        """Draw a switch that a pin closes, between two points on one horizontal line; return where the pin goes."""
        (ax, y), (bx, _) = a, b
        mx = (ax + bx) / 2
        self.wire(a, (mx - 16, y))
        self.wire((mx + 16, y), b)
        self.parts.append(f'<circle cx="{mx - 16:g}" cy="{y:g}" r="3" fill="{PAPER}" stroke="{INK}" stroke-width="1.6"/>')
        self.parts.append(f'<circle cx="{mx + 16:g}" cy="{y:g}" r="3" fill="{PAPER}" stroke="{INK}" stroke-width="1.6"/>')
        self.path(f"M{mx - 14:g} {y - 2:g}L{mx + 13:g} {y - 13:g}")
        self.wire((mx, y - 8), (mx, y - 34), dashed=True)
        self.text(mx + 6, y - 40, label, size=11, colour=NOTE)
        return mx, y - 34

    def ground(self, x: float, y: float) -> None:
        """Draw a ground below a point."""
        self.path(f"M{x:g} {y:g}v8m-13 0h26m-21 5h16m-11 5h6")

    def rail(self, x: float, y: float, label: str, anchor: str = "middle") -> None:
        """Draw a supply above a point."""
        self.path(f"M{x:g} {y:g}v-10m-10 0h20")
        self.text(x + (10 if anchor == "end" else 0), y - 16, label, anchor=anchor, size=12)

    def svg(self) -> str:
        """Return the drawing."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" width="{self.width}" '
            f'height="{self.height}" font-family="sans-serif"><title>{escape(self.title)}</title>'
            f'<rect width="{self.width}" height="{self.height}" fill="{PAPER}"/>\n' + "\n".join(self.parts) + "\n</svg>\n"
        )
