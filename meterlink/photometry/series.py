"""Nominal series of f-numbers, shutter times and ISO speeds: printed numbers are indices, not values.

f/11 stands for 2**3.5 = 11.314, 1/60 s for 1/64 s, ISO 1250 for 1269.9.  The log2 of the printed digits is off by up to 0.14 stop,
so a number that a person types is looked up, thirds first (halves first by choice: f/13 and f/1.2 are in both).

Sources of the series: published tables (named beside their checks in ``tests/published``); f-numbers above 22 in thirds
and halves, shutter times in halves and ISO speeds in halves from common use, from memory.
All functions raise ``ValueError``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from meterlink.errors import FormulaError
from meterlink.photometry.exposure import positive

STEPS = ("third", "half", "full", "tenth")

HALF_F_NUMBERS = (
    *(0.5, 0.6, 0.7, 0.85, 1, 1.2, 1.4, 1.7, 2, 2.4, 2.8, 3.3, 4, 4.8, 5.6, 6.7, 8, 9.5, 11, 13, 16, 19, 22),
    *(27, 32, 38, 45, 54, 64, 76, 90, 108, 128),
)
"""Index 0 is Av -2; half a stop each."""
THIRD_F_NUMBERS = (
    *(0.5, 0.56, 0.63, 0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1),
    *(8, 9, 10, 11, 13, 14, 16, 18, 20, 22, 25, 29, 32, 36, 40, 45, 51, 57, 64, 72, 80, 90, 102, 114, 128),
)
"""Index 0 is Av -2; a third of a stop each."""
FULL_F_NUMBERS = THIRD_F_NUMBERS[::3]
"""Index 0 is Av -2; one stop each."""

# Shutter times: positive numbers are seconds, negative ones the denominator of 1/x
THIRD_TIMES = (
    *(30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3, 1, 0.8, 0.6, -2, 0.4, 0.3, -4, -5, -6, -8, -10, -13),
    *(-15, -20, -25, -30, -40, -50, -60, -80, -100, -125, -160, -200, -250, -320, -400, -500, -640, -800, -1000, -1250),
    *(-1600, -2000, -2500, -3200, -4000, -5000, -6400, -8000, -10000, -12800, -16000, -20000, -25600, -32000),
)
"""Index 0 is Tv -5; a third of a stop each."""
HALF_TIMES = (
    *(30, 20, 15, 10, 8, 6, 4, 3, 2, 1.5, 1, 0.7, -2, -3, -4, -6, -8, -10, -15, -20, -30, -45, -60, -90, -125, -180),
    *(-250, -350, -500, -750, -1000, -1500, -2000, -3000, -4000, -6000, -8000, -12000, -16000, -24000, -32000),
)
"""Index 0 is Tv -5; half a stop each."""

THIRD_SPEEDS = (
    *(6, 8, 10, 12, 16, 20, 25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600),
    *(2000, 2500, 3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600, 32000, 40000, 51200, 64000, 80000),
    *(102400, 128000, 160000, 204800, 256000, 320000, 409600),
)
"""Index 0 is four stops below ISO 100; a third of a stop each."""
HALF_SPEEDS = (
    *(6, 9, 12, 18, 25, 35, 50, 70, 100, 140, 200, 280, 400, 560, 800, 1100, 1600, 2200, 3200, 4500, 6400, 9000, 12800),
    *(18000, 25600, 36000, 51200, 72000, 102400, 144000, 204800, 288000, 409600),
)
"""Index 0 is four stops below ISO 100; half a stop each."""


class Nearest(NamedTuple):
    """The step of a nominal series nearest to a value.

    ``text``: as printed on the dial (``f/11``, ``1/60 s``, ``ISO 400``).  ``value``: exact value of that step (11.3137).
    ``left_over_stops``: what the value has beyond the step: log2 of light for f-numbers and speeds (positive: a larger number),
    for times positive when the value is longer.
    """

    text: str
    value: float
    left_over_stops: float


def _table(series: tuple[float, ...], first_stops: float, steps_a_stop: int) -> dict[float, float]:
    return {
        (code if code > 0 else 1.0 / -code): first_stops + index / steps_a_stop
        for index, code in enumerate(series)
    }


# printed number -> Av, Tv, log2(S / 100)
_F_THIRDS, _F_HALVES = _table(THIRD_F_NUMBERS, -2, 3), _table(HALF_F_NUMBERS, -2, 2)
_T_THIRDS, _T_HALVES = _table(THIRD_TIMES, -5, 3), _table(HALF_TIMES, -5, 2)
_S_THIRDS, _S_HALVES = _table(THIRD_SPEEDS, -4, 3), _table(HALF_SPEEDS, -4, 2)


def _look_up(printed: float, thirds: dict[float, float], halves: dict[float, float], halves_first: bool) -> float | None:
    first, second = (halves, thirds) if halves_first else (thirds, halves)
    return first.get(printed, second.get(printed))


def f_number_exact(printed: float, halves_first: bool = False) -> float:
    """Return the exact f-number that a printed one stands for: 11 -> 11.3137, 13 -> 12.6992 (13.4543 in halves).

    Raises ``ValueError`` for a number on neither series (8.3), showing its two possible meanings.
    """
    stops = _look_up(positive(printed, "f-number"), _F_THIRDS, _F_HALVES, halves_first)
    if stops is None:
        raise two_meanings(printed)
    return math.exp2(stops / 2.0)


def two_meanings(printed: float) -> FormulaError:
    """Return the refusal of f/8.3, in one line: it may mean f/8 and 0.3 stop, or the plain number 8.3; how to type each."""
    whole, _, tenths = f"{printed:g}".partition(".")
    # A number to be typed, so with the point that every language may type.
    typed, plain = f"{printed:g}", format_f_number(printed).replace(" ", "")
    if len(tenths) == 1 and float(whole) in FULL_F_NUMBERS:
        return FormulaError(
            "f/{typed} has two meanings: for f/{whole} and {tenths} tenths of a stop type f/{whole}+0.{tenths}, "
            "for the number {typed} type {plain}",
            typed=typed, whole=whole, tenths=tenths, plain=plain,
        )
    return FormulaError("f/{typed} is on no nominal series: type {plain} if you mean the number {typed}", typed=typed, plain=plain)


def time_exact_s(printed_s: float, halves_first: bool = False) -> float:
    """Return the exact time of a printed one: 1/60 -> 1/64; a time on neither series is taken as it is."""
    tv = _look_up(positive(printed_s, "time"), _T_THIRDS, _T_HALVES, halves_first)
    return printed_s if tv is None else math.exp2(-tv)


def iso_exact(printed: float, halves_first: bool = False) -> float:
    """Return the exact speed of a printed one: 1250 -> 1269.92; a speed on neither series is taken as it is."""
    stops = _look_up(positive(printed, "ISO"), _S_THIRDS, _S_HALVES, halves_first)
    return printed if stops is None else 100.0 * math.exp2(stops)


def _nearest_code(
    stops: float, first_stops: float, step: str, kind: tuple[tuple[float, ...], tuple[float, ...]]
) -> tuple[float, float]:
    """Return (printed code, exact stops) of the nearest step; ends of the series are kept to."""
    if step not in ("third", "half", "full"):
        raise ValueError(f"step is third, half or full, got {step!r}")
    thirds, halves = kind
    series, a_stop, stride = (halves, 2, 1) if step == "half" else (thirds, 3, 3 if step == "full" else 1)
    index = round((stops - first_stops) * a_stop / stride) * stride
    index = min(max(index, 0), (len(series) - 1) // stride * stride)
    return series[index], first_stops + index / a_stop


def nearest_f_number(f_number: float, step: str = "third") -> Nearest:
    """Return the nearest nominal f-number and what is left over in stops (positive: the value is a larger number)."""
    av = 2.0 * math.log2(positive(f_number, "f_number"))
    printed, exact = _nearest_code(av, -2, step, (THIRD_F_NUMBERS, HALF_F_NUMBERS))
    return Nearest(f"f/{printed:g}", math.exp2(exact / 2.0), av - exact)


def nearest_time_s(time_s: float, step: str = "third") -> Nearest:
    """Return the nearest nominal shutter time and what is left over in stops (positive: the value is longer)."""
    tv = -math.log2(positive(time_s, "time_s"))
    code, exact = _nearest_code(tv, -5, step, (THIRD_TIMES, HALF_TIMES))
    return Nearest(f"{code:g} s" if code > 0 else f"1/{-code:g} s", math.exp2(-exact), exact - tv)


def nearest_iso(iso: float, step: str = "third") -> Nearest:
    """Return the nearest nominal ISO speed and what is left over in stops (positive: the value is faster)."""
    stops = math.log2(positive(iso, "iso") / 100.0)
    printed, exact = _nearest_code(stops, -4, step, (THIRD_SPEEDS, HALF_SPEEDS))
    return Nearest(f"ISO {printed:g}", 100.0 * math.exp2(exact), stops - exact)


def _full_stop_text(av: int) -> str:
    """Printed number of a full stop; beyond the series the exact value to three figures."""
    if -2 <= av <= 14:
        return f"{FULL_F_NUMBERS[av + 2]:g}"
    exact = math.exp2(av / 2.0)
    return f"{float(f'{exact:.3g}'):g}" if exact < 1 else f"{float(f'{exact:.3g}'):.0f}"


def split_f_number(f_number: float) -> tuple[int, int]:
    """Return (Av of the full stop at or below, tenths 0 to 9); +0.95 and up carries to the next full stop."""
    av = 2.0 * math.log2(positive(f_number, "f_number"))
    full = math.floor(av)
    rest = av - full
    # a hair of floating point must not turn an exact +0.95 (or +0.05) into the step below
    if rest >= 0.95 - 1e-9:
        return full + 1, 0
    return full, math.floor(rest * 10.0 + 0.5 + 1e-9)


def format_f_number(f_number: float, step: str = "tenth") -> str:
    """Return the f-number as the trade says it: ``f/8 +0.3`` (tenths), or the nearest nominal ``f/9``.

    ``step``: ``tenth`` (nominal full stop at or below plus tenths), ``third``, ``half`` or ``full``.
    """
    if step != "tenth":
        return nearest_f_number(f_number, step).text
    full, tenths = split_f_number(f_number)
    text = f"f/{_full_stop_text(full)}"
    return f"{text} +0.{tenths}" if tenths else text


def _as_printed(nearest: Callable[[float, str], Nearest], value: float) -> str:
    """Return the step of thirds, else of halves, that a value is within a hundredth of a stop of; empty for none."""
    steps = (nearest(value, step) for step in ("third", "half"))
    return next((one.text for one in steps if abs(one.left_over_stops) < 0.01), "")


def format_time(time_s: float) -> str:
    """Return a shutter time as printed on the dial (``1/160 s``) when within a hundredth of a stop of a step."""
    if printed := _as_printed(nearest_time_s, time_s):
        return printed
    if time_s >= 0.3:
        return f"{float(f'{time_s:.3g}'):g} s"
    return f"1/{float(f'{1.0 / time_s:.3g}'):.0f} s"


def format_iso(iso: float) -> str:
    """Return a speed as printed (``ISO 1250``) when within a hundredth of a stop of a step, else rounded."""
    if printed := _as_printed(nearest_iso, iso):
        return printed
    return f"ISO {iso:.0f}" if iso >= 10 else f"ISO {iso:.3g}"
