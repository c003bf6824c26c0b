"""A small range plot as SVG: horizontal bars over f-numbers in full stops."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import NamedTuple

FULL_STOPS = ("0.5", "0.7", "1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22", "32", "45", "64", "90", "128")
FIRST_AV = -2
INK, GRID = "#1c2733", "#c9d2da"
COLOURS = {"bright": "#c2571a", "dim": "#2b6ea5"}
DASHES = {"bright": "", "dim": "6 3"}
"""The outline tells the ranges apart without colour."""


class Bar(NamedTuple):
    """One row's bar: from and to an f-number, on one range."""

    row: str
    range_name: str
    low_f: float
    high_f: float


def _av(f_number: float) -> float:
    return 2 * math.log2(f_number)


def range_plot(title: str, bars: Sequence[Bar], caption: str) -> str:
    """Return the SVG; one row per name, one bar per range in it."""
    rows = list(dict.fromkeys(b.row for b in bars))
    left, top, row_h, step = 190, 56, 40, 44
    width = left + step * (len(FULL_STOPS) - 1) + 40
    height = top + row_h * len(rows) + 96

    def x(f: float) -> float:
        return left + min(max(_av(f) - FIRST_AV, 0), len(FULL_STOPS) - 1) * step

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" fill="{INK}">',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<text x="16" y="28" font-size="17" font-weight="bold">{escape(title)}</text>',
    ]
    bottom = top + row_h * len(rows)
    for i, name in enumerate(FULL_STOPS):
        gx = left + i * step
        out.append(f'<line x1="{gx}" y1="{top - 6}" x2="{gx}" y2="{bottom}" stroke="{GRID}"/>')
        out.append(f'<text x="{gx}" y="{bottom + 18}" font-size="12" text-anchor="middle">{name}</text>')
    out.append(f'<text x="{left}" y="{bottom + 38}" font-size="13">f-number at ISO 100</text>')
    for i, row in enumerate(rows):
        y = top + i * row_h
        out.append(f'<text x="{left - 12}" y="{y + 24}" font-size="13" text-anchor="end">{escape(row)}</text>')
        mine = [b for b in bars if b.row == row]
        for j, bar in enumerate(mine):
            h = (row_h - 10) / len(mine)
            out.append(
                f'<rect x="{x(bar.low_f):.1f}" y="{y + 5 + j * h:.1f}" width="{x(bar.high_f) - x(bar.low_f):.1f}" '
                f'height="{h - 2:.1f}" fill="{COLOURS[bar.range_name]}" fill-opacity="0.75" stroke="{INK}" '
                f'stroke-dasharray="{DASHES[bar.range_name]}"/>'
            )
    for j, name in enumerate(COLOURS):
        kx = left + 240 + j * 170
        out.append(
            f'<rect x="{kx}" y="{bottom + 28}" width="26" height="12" fill="{COLOURS[name]}" fill-opacity="0.75" '
            f'stroke="{INK}" stroke-dasharray="{DASHES[name]}"/>'
        )
        out.append(f'<text x="{kx + 34}" y="{bottom + 39}" font-size="13">range {name}</text>')
    out.append(f'<text x="16" y="{height - 18}" font-size="12">{escape(caption)}</text></svg>')
    return "\n".join(out) + "\n"
