"""What a person types -> SI units and stops.

Every ``parse_`` function takes the text as typed (any case, blanks, typographic quotes and minus) and returns a number,
or raises ``UnitError`` with one line that shows what is accepted.  Text is hostile: it is capped before anything else,
only ASCII digits count, ``nan`` and ``inf`` are words, not numbers.
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from meterlink.errors import FormulaError, UnitError
from meterlink.photometry import series
from meterlink.words.language import marked, say, say_for, translated

MAX_TEXT = 60
"""Longest text that is looked at; the longest sensible one (a name with a held-off distance) is shorter."""

_SAME = str.maketrans(
    {
        "\u2212": "-", "\u2013": "-", "\u00d7": "x", "\u2032": "'", "\u2033": '"', "\u2019": "'", "\u2018": "'",
        "\u201d": '"', "\u201c": '"', "\u2044": "/", "\u0192": "f", "\u00a0": " ", "\u202f": " ", "\u00b5": "u",
        "\u03bc": "u", "\u2236": ":",
    }
)  # fmt: skip
# Patterns are text: re compiles one when it is first used, and keeps it.
_NUMBER = r"(?:[0-9]{1,9}(?:[.,][0-9]{0,9})?|[.,][0-9]{1,9})"
_PER_METRE = {"mm": 1000.0, "cm": 100.0, "m": 1.0}
"""Divided by, so that 140cm is the same number as 1.4m."""
_INCH_M, _FOOT_M = 0.0254, 0.3048

_LENGTH_METRIC = rf"({_NUMBER}) ?(mm|cm|m)"
_LENGTH_METRES = r"([0-9]{1,3}) ?m(?: ?(?=[0-9]{2} ?cm))?([0-9]{2})(?: ?cm)?"
_INCHES = rf"(?:({_NUMBER})(?:[ -]([0-9]{{1,3}})/([0-9]{{1,3}}))?)"
_LENGTH_FEET = rf"""({_NUMBER}) ?(?:ft|feet|foot|')(?: ?{_INCHES} ?(?:inches|inch|in|"|'')?)?"""
_LENGTH_INCHES = rf"""{_INCHES} ?(?:inches|inch|in|"|'')"""
_FRACTION = rf"({_NUMBER}) ?/ ?({_NUMBER})"
_STOPS = rf"([+-]?) ?(?:({_NUMBER})|(?:([0-9]{{1,3}}) )?([0-9]{{1,3}})/([0-9]{{1,3}})) ?(?:stops?|ev)?"
_F_NUMBER = rf"(?:f ?/? ?)?({_NUMBER}) ?(?:\+ ?(.+))?"
_SIGNED_REST = r"(.+?) ?([+-] ?[0-9.,][0-9.,/ ]*)"


_SIDES = {"left": -1, "right": 1, "up": 1, "down": -1}
UPWARD = ("up", "down")
"""The sides of an elevation; the others are of an azimuth."""


class Held(NamedTuple):
    """``FILL@20cm``: the name of a light and how far the dome was held off; None is undeclared, never zero."""

    name: str
    held_off_m: float | None


class Size(NamedTuple):
    """Size of a source: ``90cm`` (height None) or ``60x90cm``."""

    width_m: float
    height_m: float | None


def _shown(text: object) -> str:
    shown = repr(text)
    return shown if len(shown) <= 32 else shown[:29] + "…" + shown[0]


def _clean(text: str, what: str, accepted: str) -> str:
    """Cap, translate typographic signs, squeeze blanks, lower the case; refuse what is empty or not plain ASCII."""
    if not isinstance(text, str):
        raise _unreadable(what, text, accepted, "must be text")
    if len(text) > MAX_TEXT:
        raise UnitError(
            "{what} of {count} characters is too long: type {accepted}",
            text[:MAX_TEXT], what=translated(what), count=len(text), accepted=translated(accepted),
        )
    plain = " ".join(text.translate(_SAME).split()).lower()
    if not plain:
        raise UnitError("{what} is empty: type {accepted}", text, what=translated(what), accepted=translated(accepted))
    return plain


def _matched(pattern: str, text: str, what: str, accepted: str) -> re.Match[str]:
    """Return what a pattern finds in the whole text; refuse a text that it does not fit."""
    found = re.fullmatch(pattern, _clean(text, what, accepted))
    if not found:
        raise _unreadable(what, text, accepted)
    return found


def _unreadable(what: str, text: str, accepted: str, why: str = "cannot be read") -> UnitError:
    return UnitError(
        "{what} {shown} {why}: type {accepted}",
        text, what=translated(what), shown=_shown(text), why=translated(why), accepted=translated(accepted),
    )


def _number(text: str) -> float:
    return float(text.replace(",", "."))


# Lengths

_LENGTHS = marked("1.4m, 140cm, 1400mm, 4ft6, 4'6\" or 55in")


def parse_length(text: str, what: str = "length", least_m: float = 0.0, most_m: float = 1000.0) -> float:
    """Return metres from ``1.4m 1m40 140cm 1400mm 4ft6 4'6" 55in``; a bare number other than 0 is refused: no unit.

    ``what`` names the quantity in the message, ``least_m`` and ``most_m`` are the limits (both included).
    """
    plain = _clean(text, what, _LENGTHS)
    metres = 0.0 if plain == "0" else _length_m(plain)
    if metres is None:
        if plain[0] == "-":
            raise _unreadable(what, text, _LENGTHS, "is negative")
        if re.fullmatch(_NUMBER, plain):
            raise _unreadable(what, text, say("{number}m, {number}cm or {number}in", number=plain), "has no unit")
        raise _unreadable(what, text, _LENGTHS)
    if not least_m <= metres <= most_m:
        limits = say("a length from {least:g}m to {most:g}m", least=least_m, most=most_m)
        raise _unreadable(what, text, limits, "is too short" if metres < least_m else "is too long")
    return metres


def parse_distance(text: str, what: str = "distance") -> float:
    """Return a distance in metres, above 0 and up to 50 m."""
    return parse_length(text, what, 0.001, 50.0)


def parse_held_length(text: str) -> float:
    """Return how far a dome was held off, in metres: 0 to 50 m."""
    return parse_length(text, "held-off distance", 0.0, 50.0)


def _length_m(plain: str) -> float | None:
    if re.match(r"[0-9]+/", plain):
        plain = f"0 {plain}"  # half an inch
    if found := re.fullmatch(_LENGTH_METRIC, plain):
        return _number(found[1]) / _PER_METRE[found[2]]
    if found := re.fullmatch(_LENGTH_METRES, plain):
        return (100 * int(found[1]) + int(found[2])) / 100.0
    if found := re.fullmatch(_LENGTH_FEET, plain):
        inches = _inches(found, 2)
        return None if inches is None or inches >= 12 else _number(found[1]) * _FOOT_M + inches * _INCH_M
    if found := re.fullmatch(_LENGTH_INCHES, plain):
        inches = _inches(found, 1)
        return None if inches is None else inches * _INCH_M
    return None


def _inches(found: re.Match[str], first: int) -> float | None:
    whole, over, under = found[first], found[first + 1], found[first + 2]
    if over is None:
        return _number(whole) if whole else 0.0
    return _number(whole) + int(over) / int(under) if int(under) else None


def parse_size(text: str, what: str = "size") -> Size:
    """Return the size of a source: ``90cm`` (a diameter), ``60x90cm``, ``2ft x 3ft``, ``14x39in``; 1 mm to 20 m."""
    accepted = marked("90cm, 60x90cm, 14x39in or 2ft x 3ft")
    parts = [part.strip() for part in _clean(text, what, accepted).split("x")]
    if len(parts) > 2 or not all(parts):
        raise _unreadable(what, text, accepted)
    if len(parts) == 2 and re.fullmatch(_NUMBER, parts[0]):
        # 60x90cm: the unit is said once, for both
        parts[0] += parts[1].strip("0123456789., ")
    lengths = []
    for part in parts:
        metres = _length_m(part)
        if metres is None:
            raise _unreadable(what, text, accepted)
        if not 0.001 <= metres <= 20.0:
            raise _unreadable(what, text, accepted, "is outside 1mm to 20m")
        lengths.append(metres)
    return Size(lengths[0], lengths[1] if len(lengths) == 2 else None)


def parse_held_off(text: str) -> Held:
    """Split ``FILL@20cm`` into name and held-off distance; ``FILL`` alone leaves it undeclared, ``FILL@0`` is zero."""
    accepted = marked("a light's name, or NAME@20cm")
    if not isinstance(text, str) or len(text) > MAX_TEXT:
        raise _unreadable("light", text, accepted, "is too long" if isinstance(text, str) else "is not text")
    name, at, off = text.strip().rpartition("@")
    if not at:
        name, off = off, ""
    name = name.strip()
    if not name or not name.isprintable():
        raise _unreadable("light", text, accepted)
    return Held(name, parse_held_length(off) if at else None)


# Camera settings


def parse_f_number(text: str, halves_first: bool = False) -> float:
    """Return the exact f-number of ``f/11``, ``11``, ``f/8+0.3``, ``f/8+1/3``; ``f/8.3`` is refused: two meanings."""
    accepted = marked("f/8, 5.6 or f/8+0.3")
    found = _matched(_F_NUMBER, text, "f-number", accepted)
    printed = _number(found[1])
    if not 0.1 <= printed <= 1000:
        raise _unreadable("f-number", text, accepted, "is outside f/0.5 to f/128")
    try:
        base = series.f_number_exact(printed, halves_first)
    except FormulaError as problem:
        raise UnitError(problem.message, text, **problem.values) from None
    if found[2] is None:
        return base
    more = _stops_value(found[2])
    if more is None or not 0.0 <= more < 1.0:
        raise _unreadable("f-number", text, accepted, "must add a part of one stop")
    return base * math.exp2(more / 2.0)


def parse_shutter(text: str, halves_first: bool = False) -> float:
    """Return the exact time in s of a shutter setting: ``1/160``, ``0.5s``, ``0.5``, ``2"``; 1/60 is 1/64 s."""
    seconds = _time_s(text, "shutter time", "1/160, 0.5s or 2s")
    plain = text.strip()
    if plain.isdecimal() and int(plain) > 2:
        # The dial shows 160 for 1/160 s: a bare whole number means either.
        raise _unreadable("shutter time", text, say("1/{number} or {number}s", number=plain), "has two meanings")
    if not 1e-6 <= seconds <= 3600.0:
        raise _unreadable("shutter time", text, "1/160, 0.5s or 2s", "is outside 1/1000000 s to 1 h")
    return series.time_exact_s(seconds, halves_first)


def parse_time(text: str, what: str = "time") -> float:
    """Return a time in s as it is, on no series: ``1/3000``, ``0.5s``, ``3ms``, ``250us``."""
    seconds = _time_s(text, what, "1/3000, 0.5s, 3ms or 250us")
    if not 1e-9 <= seconds <= 1e6:
        raise _unreadable(what, text, "1/3000, 0.5s, 3ms or 250us", "is out of range")
    return seconds


def _time_s(text: str, what: str, accepted: str) -> float:
    found = _matched(r"(.+?) ?(s|sec|seconds?|\"|ms|us)?", text, what, accepted)
    scale = {"ms": 1e-3, "us": 1e-6}.get(found[2], 1.0)
    value = _fraction_or_number(found[1])
    if value is None or value <= 0.0:
        raise _unreadable(what, text, accepted)
    return value * scale


def _fraction_or_number(plain: str) -> float | None:
    if re.fullmatch(_NUMBER, plain):
        return _number(plain)
    found = re.fullmatch(_FRACTION, plain)
    if not found or _number(found[2]) == 0.0:
        return None
    return _number(found[1]) / _number(found[2])


def parse_iso(text: str, halves_first: bool = False) -> float:
    """Return the exact speed of ``100``, ``ISO 1250`` (1269.92) or ``24°``."""
    accepted = marked("100, ISO 400 or 1250")
    found = _matched(rf"(?:iso ?)?({_NUMBER})(°?)", text, "ISO", accepted)
    value = _number(found[1])
    if found[2]:
        value = 100.0 * math.exp2(round(value - 21.0) / 3.0) if value <= 60.0 else 0.0
    if not 0.5 <= value <= 1e7:
        raise _unreadable("ISO", text, accepted, "is outside 1 to 10000000")
    return value if found[2] else series.iso_exact(value, halves_first)


# Stops, ratios, power, angles


def _stops_value(plain: str) -> float | None:
    """Signed stops of ``1``, ``-0.3``, ``+2/3``, ``1 1/3``; None when unreadable."""
    found = re.fullmatch(_STOPS, plain)
    if not found:
        return None
    sign, number, whole, over, under = found.groups()
    if number is not None:
        value = _number(number)
    elif int(under) == 0:
        return None
    else:
        value = int(whole or 0) + int(over) / int(under)
    return -value if sign == "-" else value


def parse_stops(text: str, what: str = "stops", most: float = 40.0, *, signed: bool = True) -> float:
    """Return stops from ``-1``, ``+0.7``, ``−1/3``, ``1 1/3``; at most ``most`` either way, above 0 where not ``signed``."""
    accepted = marked("-1, +0.7, 1/3 or 1 1/3") if signed else marked("0.1, 0.5 or 1/3")
    value = _stops_value(_clean(text, what, accepted))
    if value is None:
        raise _unreadable(what, text, accepted)
    if not signed and value <= 0.0:
        raise _unreadable(what, text, accepted, "is not above 0")
    if abs(value) > most:
        raise _unreadable(what, text, accepted, say("is beyond {most:g} stops", most=most))
    return value


def parse_ratio(text: str) -> float:
    """Return the linear ratio of ``3:1`` (3), ``1:2`` (0.5), ``2.5:1``."""
    accepted = marked("3:1 or 1:2")
    found = _matched(rf"({_NUMBER}) ?: ?({_NUMBER})", text, "ratio", accepted)
    upper, lower = _number(found[1]), _number(found[2])
    if not (upper > 0.0 and lower > 0.0):
        raise _unreadable("ratio", text, accepted)
    return upper / lower


FULL_POWER = "full"
POWER_WORDS = {FULL_POWER: 0.0, "half": -1.0, "quarter": -2.0}
"""Words for a power, in stops from full."""


def parse_power(text: str, full_power_j: float | None = None, scale_top: float | None = None) -> float:
    """Return stops from full power (0 is full, -1 half) from the fixture's own scale.

    ``1/4``, ``1/4+0.3``, ``1/4-1/3``, ``full``, ``50%``; ``-2.3`` stops below full; ``200J`` or ``200Ws`` with
    ``full_power_j``; ``6.3`` on a numeric scale of one stop a number with its top number ``scale_top``.
    """
    accepted = say("1/4, 1/4+0.3, -2.3, full") + (", 6.3" if scale_top else "") + (", 200J" if full_power_j else "")
    plain = _clean(text, "power", accepted)
    if re.fullmatch(_NUMBER, plain) and (plain != "1" or scale_top is not None):
        if scale_top is None:
            raise _unreadable("power", text, "1/4, 1/4+0.3 or -2.3, or give the scale's top number", "has no scale")
        stops: float | None = _number(plain) - scale_top
    elif found := re.fullmatch(rf"({_NUMBER}) ?(?:j|ws)", plain):
        stops = _joule_stops(_number(found[1]), full_power_j, text)
    else:
        stops = _power_stops(plain)
    if stops is None or math.isnan(stops):
        raise _unreadable("power", text, accepted)
    if stops > 1e-9:
        raise _unreadable("power", text, accepted, "is more than full power")
    if stops < -20.0:
        raise _unreadable("power", text, accepted, "is more than 20 stops below full")
    return min(stops, 0.0)


def _joule_stops(joules: float, full_power_j: float | None, text: str) -> float:
    if full_power_j is None:
        raise _unreadable("power", text, "1/4 or -2, or give the head's full power in joules", "needs the full power")
    if joules <= 0.0 or full_power_j <= 0.0:
        raise _unreadable("power", text, "joules above 0")
    return math.log2(joules / full_power_j)


def _power_stops(plain: str) -> float | None:
    if plain == "max":
        return 0.0
    if plain.endswith("%") and re.fullmatch(_NUMBER, plain[:-1].strip()):
        percent = _number(plain[:-1].strip())
        return math.log2(percent / 100.0) if percent > 0.0 else None
    if plain[0] in "+-":
        return _stops_value(plain)
    more = 0.0
    if found := re.fullmatch(_SIGNED_REST, plain):
        rest = _stops_value(found[2].replace(" ", ""))
        if rest is None or abs(rest) >= 1.0:
            return None
        plain, more = found[1].strip(), rest
    if plain in ("1", "1/1"):
        return more
    for word, stops in POWER_WORDS.items():
        if plain in (word, say_for("power", word)):
            return stops + more
    fraction = _fraction_or_number(plain) if "/" in plain else None
    return math.log2(fraction) + more if fraction else None


def side_words() -> dict[str, str]:
    """Return the words of a side, in English and in the language in use, each with its English one."""
    return {"l": "left", "r": "right"} | {name: side for side in _SIDES for name in (side, say_for("direction", side))}


def parse_angle(text: str, what: str = "angle", upward: bool | None = None) -> float:
    """Return degrees from ``45``, ``-30°``, ``30deg``, ``30 left``, ``left 30``, ``20 up``; left and down are negative, ±360.

    ``behind`` is the azimuth 180.  ``upward``: the angle is an elevation, and has no left, or (False) an azimuth, and has no up.
    """
    accepted = marked("45, -30, 30 left or 20 up")
    sides = side_words()
    side = f"({'|'.join(sides)})"
    if upward is not True and _clean(text, what, accepted) in ("behind", say("behind")):
        return 180.0
    found = _matched(rf"(?:{side} ?)?([+-]?) ?({_NUMBER}) ?(?:°|deg|degrees?)?(?: ?{side})?", text, what, accepted)
    if sum(map(bool, found.group(1, 2, 4))) > 1:
        raise _unreadable(what, text, accepted)
    value = _number(found[3])
    if value > 360.0:
        raise _unreadable(what, text, accepted, "is beyond 360 degrees")
    word = found[1] or found[4]
    if word and upward is not None and (sides[word] in UPWARD) != upward:
        other = marked("is an azimuth, no elevation") if upward else marked("is an elevation, no azimuth")
        raise _unreadable(what, text, accepted, other)
    return -value if found[2] == "-" or (word and _SIDES[sides[word]] < 0) else value


def parse_movement(text: str) -> float:
    """Return a speed of movement in m/s from ``2m/s``, ``50cm/s``, ``5km/h``, ``3ft/s``, ``10mph``."""
    accepted = marked("2m/s, 50cm/s, 3ft/s, 5km/h or 10mph")
    found = _matched(rf"({_NUMBER}) ?(?:(km|cm|mm|m|ft|feet|foot|in|inch|inches) ?/ ?(s|h)|mph)", text, "movement", accepted)
    lengths_m = {"km": 1000.0, "cm": 0.01, "mm": 0.001, "m": 1.0, "ft": _FOOT_M, "fe": _FOOT_M, "fo": _FOOT_M, "in": _INCH_M}
    length_m, time = lengths_m[found[2][:2]] if found[2] else 1609.344, found[3] or "h"
    speed = _number(found[1]) * length_m / (3600.0 if time == "h" else 1.0)
    if speed > 1000.0:
        raise _unreadable("movement", text, accepted, "is faster than 1000 m/s")
    return speed
