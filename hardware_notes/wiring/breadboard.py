"""A breadboard of 63 rows, drawn to scale: parts and wires go into holes, and what is joined by them is computed.

Holes have the names printed on such boards: ``e12`` (letter, row), and ``T+12``, ``T-12``, ``B+12``, ``B-12`` for the rails
above and below.
``Layout.nets()`` follows strips, rails and wires; a test holds it to the circuit's list of joints, so that a drawing cannot
join what it should not.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable
from html import escape
from typing import NamedTuple

from hardware_notes.wiring.sheet import INK, NOTE, PAPER

ROWS = 63
PITCH = 18
"""Pixels for 2.54 mm."""
LETTERS = "abcdefghij"
LEFT, TOP = 40, 96
# Distance from the upper edge in pitches: rails, the upper five, the gap of 7.62 mm, the lower five, rails.
_LINES = {
    "T+": 0,
    "T-": 1,
    **{x: 3 + i for i, x in enumerate("jihgf")},
    **{x: 10 + i for i, x in enumerate("edcba")},
    "B+": 16,
    "B-": 17,
}
HEIGHT = 17
COLOURS = {"5V": "#b3261e", "3V3": "#b3261e", "GND": "#1c2733", "signal": "#2b6ea5", "lead": "#6a3fa0"}
DASHES = {"5V": "", "3V3": "", "GND": "", "signal": "7 3", "lead": "2 3"}
"""Kinds of wires differ by their dashes as well as by colour."""


class Chip(NamedTuple):
    """A part with two rows of pins astride the gap: pin 1 in the lower row at the left, counted to the right and back above."""

    name: str
    label: str
    row: int
    pins: tuple[str, ...]
    lower: str = "e"
    upper: str = "f"

    def holes(self) -> dict[str, str]:
        """Hole of each pin, by its number."""
        half = len(self.pins) // 2
        low = {str(i + 1): f"{self.lower}{self.row + i}" for i in range(half)}
        return low | {str(half + 1 + i): f"{self.upper}{self.row + half - 1 - i}" for i in range(half)}


class Part(NamedTuple):
    """A part with two legs."""

    name: str
    label: str
    kind: str
    """resistor, capacitor, crystal, diode."""
    one: str
    other: str


class Wire(NamedTuple):
    """A wire from hole to hole, or a lead from a hole to something beside the board."""

    one: str
    other: str
    kind: str = "signal"


class Lead(NamedTuple):
    """What comes from outside and ends in a hole."""

    name: str
    hole: str


class Layout(NamedTuple):
    """Everything on one board."""

    title: str
    chips: tuple[Chip, ...]
    parts: tuple[Part, ...]
    wires: tuple[Wire, ...]
    leads: tuple[Lead, ...]
    notes: tuple[str, ...]

    def holes(self) -> list[tuple[str, str]]:
        """(what is in it, hole), for all that takes a hole."""
        found = [(f"{x.name}.{pin}", hole) for x in self.chips for pin, hole in x.holes().items()]
        found += [(f"{p.name}.{i}", hole) for p in self.parts for i, hole in ((1, p.one), (2, p.other))]
        found += [(f"wire {w.one}-{w.other}", hole) for w in self.wires for hole in (w.one, w.other)]
        return found + [(lead.name, lead.hole) for lead in self.leads]

    def nets(self) -> set[frozenset[str]]:
        """What is joined: sets of ``PART.PIN`` and names of leads, without those that stand alone."""
        joined: dict[str, str] = {}

        def root(x: str) -> str:
            while joined.setdefault(x, x) != x:
                x = joined[x]
            return x

        for w in self.wires:
            joined[root(strip(w.one))] = root(strip(w.other))
        found: dict[str, set[str]] = {}
        for name, hole in self.holes():
            if not name.startswith("wire "):
                found.setdefault(root(strip(hole)), set()).add(name)
        return {frozenset(x) for x in found.values() if len(x) > 1}


def strip(hole: str) -> str:
    """The piece of metal under a hole."""
    found = re.fullmatch(r"([TB][+-]|[a-j])(\d+)", hole)
    if found is None or not 1 <= int(found[2]) <= ROWS:
        raise ValueError(f"no hole {hole}")
    line, row = found.groups()
    if len(line) == 2:
        return line
    return f"{'lower' if line in 'abcde' else 'upper'}{row}"


def place(hole: str) -> tuple[float, float]:
    """Where a hole is drawn."""
    line = hole.rstrip("0123456789")
    return LEFT + PITCH * int(hole.removeprefix(line)), TOP + PITCH * _LINES[line]


def _line(a: tuple[float, float], b: tuple[float, float], colour: str, width: float, dash: str = "") -> str:
    extra = f' stroke-dasharray="{dash}"' if dash else ""
    return (f'<line x1="{a[0]:g}" y1="{a[1]:g}" x2="{b[0]:g}" y2="{b[1]:g}" stroke="{colour}" stroke-width="{width:g}"'
            f' stroke-linecap="round"{extra}/>')  # fmt: skip


def _text(
    x: float,
    y: float,
    words: str,
    size: float = 10,
    anchor: str = "middle",
    colour: str = INK,
    halo: bool = False,
    turn: bool = False,
) -> str:
    turned = f' transform="rotate(-90 {x:g} {y:g})"' if turn else ""
    place = f'x="{x:g}" y="{y:g}" font-size="{size:g}" text-anchor="{anchor}"'
    shown = f'<text {place} fill="{colour}"{turned}>{escape(words)}</text>'
    # The halo is a text of its own below: viewers that do not know paint-order would cover the letters with it.
    below = f'<text {place} fill="{PAPER}" stroke="{PAPER}" stroke-width="3"{turned}>{escape(words)}</text>' if halo else ""
    return below + shown


def _board() -> Iterable[str]:
    width, height = PITCH * (ROWS + 1), PITCH * (HEIGHT + 1.4)
    yield f'<rect x="{LEFT}" y="{TOP - PITCH * 0.7:g}" width="{width}" height="{height:g}" rx="6" fill="#f7f5ef" stroke="{NOTE}"/>'
    for line, at in _LINES.items():
        y = TOP + PITCH * at
        if len(line) == 2:
            colour = COLOURS["5V"] if line[1] == "+" else COLOURS["GND"]
            yield _line(
                (LEFT + 8, y - 8 if line[1] == "+" else y + 8), (LEFT + width - 8, y - 8 if line[1] == "+" else y + 8), colour, 0.8
            )
            yield _text(LEFT - 14, y + 4, line.replace("-", "–"), 11, colour=colour)
        else:
            yield _text(LEFT - 10, y + 4, line, 10, colour=NOTE)
        yield from (f'<circle cx="{LEFT + PITCH * r}" cy="{y}" r="2" fill="#b9b3a4"/>' for r in range(1, ROWS + 1))
    for r in [1, *range(5, ROWS + 1, 5)]:
        yield _text(LEFT + PITCH * r, TOP + PITCH * 2 + 4, str(r), 9, colour=NOTE)
        yield _text(LEFT + PITCH * r, TOP + PITCH * 15 + 4, str(r), 9, colour=NOTE)


def _chip(chip: Chip) -> Iterable[str]:
    holes = chip.holes()
    half = len(chip.pins) // 2
    x1, low = place(holes["1"])
    x2, _ = place(holes[str(half)])
    _, high = place(holes[str(half + 1)])
    yield (
        f'<rect x="{x1 - 8:g}" y="{high + 4:g}" width="{x2 - x1 + 16:g}" height="{low - high - 8:g}" rx="3" fill="#39424c" '
        f'stroke="{INK}"/>'
    )
    yield f'<path d="M{x1 - 8:g} {(low + high) / 2 - 6:g}a6 6 0 0 1 0 12z" fill="#f7f5ef"/>'
    yield _text((x1 + x2) / 2, (low + high) / 2 + 4, chip.label, 11, colour=PAPER)
    for number, hole in holes.items():
        x, y = place(hole)
        up = int(number) > half
        yield f'<rect x="{x - 4:g}" y="{y - 4:g}" width="8" height="8" fill="#c9d2da" stroke="{INK}" stroke-width="0.8"/>'
        inside = y + 13 if up else y - 7
        yield _text(x, inside, number, 7.5, colour=PAPER)


def _part(p: Part) -> Iterable[str]:
    (x1, y1), (x2, y2) = place(p.one), place(p.other)
    yield _line((x1, y1), (x2, y2), "#7a7f86", 2)
    mx, my = (x1 + x2) / 2, (y1 + y2) / 2
    long = max(abs(x2 - x1), abs(y2 - y1))
    flat = abs(x2 - x1) >= abs(y2 - y1)
    body = min(PITCH * 2.4 if p.kind == "resistor" else PITCH * 1.1, max(long - 8, 10))
    w, h = (body, 10) if flat else (10, body)
    fill = {"resistor": "#e8d3a8", "capacitor": "#cfe0ef", "crystal": "#d9dde1", "diode": "#f4dede"}[p.kind]
    spot = f'x="{mx - w / 2:g}" y="{my - h / 2:g}" width="{w:g}" height="{h:g}"'
    yield f'<rect {spot} rx="3" fill="{fill}" stroke="{INK}" stroke-width="1"/>'
    for x, y in ((x1, y1), (x2, y2)):
        yield f'<circle cx="{x:g}" cy="{y:g}" r="2.6" fill="{INK}"/>'
    yield _text(mx, my + 3.5, p.name, 8.5, halo=True)


def _wire(w: Wire) -> Iterable[str]:
    a, b = place(w.one), place(w.other)
    colour = COLOURS[w.kind]
    # Long wires are drawn as the bows that they are: two on one line can be told apart.
    long = math.hypot(b[0] - a[0], b[1] - a[1])
    bow = 0.0 if long < 4 * PITCH or abs(b[0] - a[0]) < 2 * PITCH else min(0.07 * long, 1.2 * PITCH)
    way = f"M{a[0]:g} {a[1]:g}Q{(a[0] + b[0]) / 2:g} {(a[1] + b[1]) / 2 - 2 * bow:g} {b[0]:g} {b[1]:g}"
    dash = f' stroke-dasharray="{DASHES[w.kind]}"' if DASHES[w.kind] else ""
    yield f'<path d="{way}" fill="none" stroke="{PAPER}" stroke-width="4.5"/>'
    yield f'<path d="{way}" fill="none" stroke="{colour}" stroke-width="2.4" stroke-linecap="round"{dash}/>'
    for x, y in (a, b):
        yield f'<circle cx="{x:g}" cy="{y:g}" r="3.2" fill="{colour}"/>'


def _lead(lead: Lead) -> Iterable[str]:
    x, y = place(lead.hole)
    below = y > TOP + PITCH * 8
    end = TOP + PITCH * (HEIGHT + 1.6) if below else TOP - PITCH * 1.3
    yield _line((x, y), (x, end), PAPER, 4)
    yield _line((x, y), (x, end), COLOURS["lead"], 2, DASHES["lead"])
    yield f'<circle cx="{x:g}" cy="{y:g}" r="3.2" fill="{COLOURS["lead"]}"/>'
    yield _text(x + 3, end + (3 if below else -3), lead.name, 9, "end" if below else "start", COLOURS["lead"], turn=True)


def svg(layout: Layout) -> str:
    """The drawing: board, chips, wires, parts, what comes from outside, the list of parts, notes."""
    ends = textwrap.wrap("Wires: " + ", ".join(f"{w.one} to {w.other}" for w in layout.wires) + ".", 175)
    if layout.leads:
        ends += textwrap.wrap("From outside: " + ", ".join(f"{x.name} in {x.hole}" for x in layout.leads) + ".", 175)
    notes = (*ends, *layout.notes)
    rows = 3 + (len(layout.parts) + len(layout.chips) + 3) // 4
    width = LEFT + PITCH * (ROWS + 1) + 30
    top = TOP + PITCH * (HEIGHT + (8.2 if layout.leads else 2.8))
    height = top + 16 * rows + 18 * len(notes) + 12
    shapes: list[str] = [*_board()]
    for drawn in (map(_chip, layout.chips), map(_wire, layout.wires), map(_part, layout.parts), map(_lead, layout.leads)):
        shapes += [shape for thing in drawn for shape in thing]
    shapes.append(_text(20, 30, layout.title, 18, "start"))
    named = [*(f"{x.name}: {x.label}, pin 1 in {x.holes()['1']}" for x in layout.chips),
             *(f"{p.name}: {p.label}, {p.one} to {p.other}" for p in layout.parts)]  # fmt: skip
    for i, words in enumerate(named):
        shapes.append(_text(LEFT + (i % 4) * (width - 60) / 4, top + 16 * (i // 4), words, 11, "start"))
    for i, words in enumerate(notes):
        shapes.append(_text(LEFT, top + 16 * rows + 18 * i - 18, words, 12, "start", NOTE))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" height="{height:g}" '
        f'font-family="sans-serif"><title>{escape(layout.title)}</title><rect width="{width:g}" height="{height:g}" '
        f'fill="{PAPER}"/>\n'
        + "\n".join(shapes)
        + "\n</svg>\n"
    )
