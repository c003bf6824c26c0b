"""SI units and stops -> what a person reads.  JSON carries the plain number.

On the start-up path of every table: it imports nothing heavy.
"""

from __future__ import annotations

import math

MINUS = "\u2212"
_INCH_M = 0.0254


def format_length(length_m: float, imperial: bool = False) -> str:
    """Return ``35 cm``, ``1.40 m``, or ``14 in``, ``4 ft 7 in`` (half inches below 1 ft)."""
    if imperial:
        return _format_imperial(length_m)
    if abs(length_m) < 0.9995:
        centimetres = length_m * 100.0
        return f"{_signed(centimetres, 1 if abs(centimetres) < 9.95 else 0)} cm"
    return f"{_signed(length_m, 2)} m"


def _format_imperial(length_m: float) -> str:
    inches = abs(length_m) / _INCH_M
    sign = MINUS if length_m < 0 else ""
    if inches < 11.75:
        halves = round(inches * 2.0) / 2.0
        return f"{sign if halves else ''}{halves:g} in"
    whole = round(inches)
    if whole < 36:
        return f"{sign}{whole} in"
    feet, rest = divmod(whole, 12)
    return f"{sign}{feet} ft {rest} in" if rest else f"{sign}{feet} ft"


def format_size(width_m: float, height_m: float | None = None, imperial: bool = False) -> str:
    """Return ``90 cm``, ``35 × 100 cm`` or ``14 × 39 in``, rounded to whole units."""
    unit_m, name = (_INCH_M, "in") if imperial else (0.01, "cm")
    numbers = [f"{length / unit_m:.0f}" for length in (width_m, height_m) if length is not None]
    return f"{' × '.join(numbers)} {name}"


def _signed(value: float, decimals: int, plus: bool = False) -> str:
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0.0:
        return text
    return (MINUS if value < 0 else "+" if plus else "") + text


def format_stops(stops: float, decimals: int = 1) -> str:
    """Return ``+0.3``, ``−0.5`` (a true minus) or ``0.0``."""
    return _signed(stops, decimals, plus=True)


def format_ratio(ratio: float) -> str:
    """Return ``3:1``, ``2.5:1``; below one ``1:2``."""
    upper, lower = (ratio, 1.0) if ratio >= 0.995 else (1.0, 1.0 / ratio)
    shown = [f"{value:.0f}" if value >= 9.95 else f"{value:.1f}".removesuffix(".0") for value in (upper, lower)]
    return ":".join(shown)


def format_duration(time_s: float) -> str:
    """Return a flash duration as the trade says it, ``1/2400 s`` to two figures; ``2.1 s`` from a second on."""
    if time_s >= 1.0:
        return f"{time_s:.2g} s" if time_s < 99.5 else f"{time_s:.0f} s"
    return f"1/{float(f'{1.0 / time_s:.2g}'):.0f} s"


def format_power(stops: float, full_power_j: float | None = None, scale_top: float | None = None) -> str:
    """Return a power in the fixture's own scale: ``1/4 +0.3``; ``6.3`` (top number given), ``200 J`` (full given)."""
    if scale_top is not None:
        return _signed(scale_top + stops, 1)
    if full_power_j is not None:
        return f"{float(f'{full_power_j * math.exp2(stops):.3g}'):g} J"
    below = math.floor(stops + 0.05 + 1e-9)
    tenths = max(0, math.floor((stops - below) * 10.0 + 0.5 + 1e-9))
    text = "full" if below >= 0 else f"1/{2**-below}"
    return f"{text} +0.{tenths}" if tenths else text


def format_angle(angle_deg: float) -> str:
    """Return whole degrees with a true minus: ``−30°``."""
    return f"{_signed(angle_deg, 0)}°"


def three_figures(value: float) -> str:
    """Return a number with three significant figures and without an exponent: ``0.125``, ``12.3``, ``1,250``."""
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f}" if abs(rounded) >= 100.0 else f"{rounded:.10f}".rstrip("0").rstrip(".")


def format_illuminance(illuminance_lx: float) -> str:
    """Return ``0.125 lx``, ``960 lx`` or ``12.3 klx``: three figures."""
    if abs(illuminance_lx) >= 9995.0:
        return f"{three_figures(illuminance_lx / 1000.0)} klx"
    return f"{three_figures(illuminance_lx)} lx"


def format_exposure(exposure_lxs: float) -> str:
    """Return a luminous exposure with three figures: ``0.717 lx·s``, ``220 lx·s``, ``1,250 lx·s``."""
    return f"{three_figures(exposure_lxs)} lx·s"
