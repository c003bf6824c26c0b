"""What there is to say, as a code with its values: judging, tables, checks and metering carry this, and no sentence.

``told("half_way", what=..., point="face")`` becomes words when somebody reads it: ``str()`` of it looks the code up in
``words/phrases``, in the language and for the place in use.  Values keep their units; the phrase says how each is written::

    "{light} is {stops:stops_word} over"      told("over", light="KEY", stops=0.31)

How a value is written, beside the usual formats: ``length`` and ``cm`` (metres in), ``stops`` and ``stops2`` (signed),
``size`` and ``size2`` (stops without their sign), ``stops_word`` (``1.6 stops``), ``signed_word`` (``+1.6 stops``), ``thirds``
(``1 1/3 stops``; thirds in), ``u`` (an uncertainty, at least 0.1), ``azimuth`` and ``elevation`` (``40° right``, ``30° up``;
degrees in), ``lx``, ``lxs``, ``f``, ``figure`` (an f-number or a power that is text already, also as somebody typed it),
``shutter`` (``1/125 s``), ``duration``, ``iso``, ``ratio`` (``3:1``), ``mm``, ``date`` (seconds since 1970 in), ``megabytes``, the
names of a ``point``, ``movement``, ``role`` or ``receptor``; several values by ``,`` ``;`` ``and`` ``or``.
A value may itself be told, or an action.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from functools import partial
from math import remainder
from typing import Any, NamedTuple

from meterlink import units
from meterlink.words.language import Written, say, say_count, say_for, translated, with_decimal_sign
from meterlink.words.phrases import PHRASES

__all__ = ["NOTHING", "Told", "all_of", "plain", "put", "told", "told_again", "written"]


def put(template: str, /, **values: object) -> str:
    """As ``say``, values written as in a phrase: ``put("held off {far:length}", far=0.2)``."""
    return say(template, **{name: _Written(value) for name, value in values.items()})


class Told(NamedTuple):
    """A code and its values; false when there is nothing to say."""

    code: str
    values: Mapping[str, Any] = {}

    def __str__(self) -> str:
        return put(PHRASES[self.code], **self.values) if self.code else ""

    def __format__(self, spec: str) -> str:
        return format(str(self), spec)

    def __bool__(self) -> bool:
        return bool(self.code)


NOTHING = Told("")


def told(code: str, /, **values: object) -> Told:
    """Return what is to be said: a code of ``PHRASES`` and the values for its places (``test_told.py`` sees to both)."""
    return Told(code, values)


def told_again(kept: Any, family: str = "") -> Told:
    """Return what a record keeps as code (less the name of its family) and values; words of before as they stand.

    What cannot be said is nothing: a library from elsewhere may hold anything.
    """
    if isinstance(kept, str):
        return told("note", note=kept)
    try:
        code, values = kept
        again = Told(f"{family}{code}", {name: _again(value, family) for name, value in values.items()})
        str(again)
    except (LookupError, TypeError, ValueError, AttributeError, OverflowError, RecursionError):
        return NOTHING
    return again


def _again(value: Any, family: str) -> Any:
    """A value of what is kept: something kept itself, several names, or a number or name as it is."""
    if not isinstance(value, list):
        return value
    kept = len(value) == 2 and isinstance(value[1], Mapping)
    return told_again(value, family) if kept else tuple(map(translated, map(str, value)))


def tells(said: Told, *codes: str) -> bool:
    """Whether something said is, or has in it, one of these codes."""
    inner = (one for value in said.values.values() for one in (value if type(value) is tuple else (value,)))
    return said.code in codes or any(isinstance(one, Told) and tells(one, *codes) for one in inner)


def all_of(*parts: object, by: str = "; ") -> Told:
    """Return several things said one after the other; empty ones are left out."""
    kept = tuple(part for part in parts if part)
    if not kept:
        return NOTHING
    if len(kept) == 1 and isinstance(kept[0], Told):
        return kept[0]
    return told({"; ": "parts", ": ": "heading", ", ": "listed", " and ": "and_parts"}[by], parts=kept)


def plain(value: Any, **names: str) -> Any:
    """Return a value as JSON data: what is told in words, a record by its fields (``names``: other names of some of them)."""
    if isinstance(value, Told):
        return str(value)
    if isinstance(value, Mapping):
        return {name: plain(one) for name, one in value.items()}
    if not isinstance(value, tuple | list):
        return value
    if not names and hasattr(value, "as_json"):
        return value.as_json()
    if hasattr(value, "_asdict"):
        return {names.get(name, name): plain(one) for name, one in value._asdict().items()}
    return [plain(one) for one in value]


def _named(context: str, name: object) -> str:
    """A name that the catalogues may know; one that somebody gave stays as it is, what was told is said."""
    return say_for(context, str(name))


def _with_unit(size: str, stops: float) -> str:
    return say_count("{size} stop", "{size} stops", 1 if abs(stops) < 1.05 else 2, size=size)


def _thirds(thirds: int) -> str:
    whole, rest = divmod(abs(thirds), 3)
    amount = " ".join(filter(None, (f"{whole}" if whole else "", f"{rest}/3" if rest else "")))
    return say_count("{amount} stop", "{amount} stops", 1 if abs(thirds) <= 3 else 2, amount=amount)


def _azimuth(azimuth_deg: float) -> str:
    """``40° right`` as the camera sees it; ``behind`` is straight behind the point."""
    turned = remainder(azimuth_deg, 360.0)
    if abs(turned) < 0.5:
        return say("camera axis")
    if abs(turned) >= 179.5:
        return say("behind")
    return say("{x:.0f}° right" if turned > 0 else "{x:.0f}° left", x=abs(turned))


def _elevation(elevation_deg: float) -> str:
    return say("{x:.0f}° down" if elevation_deg < 0 else "{x:.0f}° up", x=abs(elevation_deg))


_KINDS: dict[str, Callable[[Any], str]] = {
    "length": units.format_length,
    "cm": lambda m: f"{m * 100:.0f} cm" if m >= 0.01 else f"{m * 1000:.0f} mm",
    "stops": units.format_stops,
    "stops2": lambda stops: units.format_stops(stops, 2),
    "size": lambda stops: f"{abs(stops):.1f}",
    "size2": lambda stops: f"{abs(stops):.2f}",
    "stops_word": lambda stops: _with_unit(f"{abs(stops):.1f}", stops),
    "thirds": _thirds,
    "signed_word": lambda stops: _with_unit(units.format_stops(stops), stops),
    "azimuth": _azimuth,
    "elevation": _elevation,
    "turn": lambda angle_deg: f"{angle_deg:+g}" if angle_deg else "0",
    "duv": lambda duv: units.format_stops(duv, 4),
    "u": lambda stops: f"{max(0.1, round(stops, 1)):.1f}",
    "lx": units.format_illuminance,
    "lxs": units.format_exposure,
    "f": units.format_f_number,
    "figure": lambda text: say_for("power", text.replace(",", ".")),
    "shutter": units.format_shutter,
    "duration": units.format_duration,
    "iso": units.format_iso,
    "ratio": units.format_ratio,
    **{context: partial(_named, context) for context in ("point", "movement", "receptor", "role", "range", "sensor")},
    "date": lambda at_s: time.strftime("%Y-%m-%d", time.localtime(at_s)),
    "megabytes": lambda size_bytes: f"{size_bytes / 1e6:.1f} MB",
    "mm": lambda mm: f"{mm:.1f} mm" if mm < 9.95 else f"{mm:.0f} mm",
}
_JOINED = {",": ", ", ";": "; ", ":": ": "}


def written(value: Any, spec: str = "") -> str:
    """Return one value as a phrase writes it: ``written(-1.25, "stops2")``."""
    return format(_Written(value), spec)


class _Written(Written):
    """A value as a phrase writes it."""

    def __format__(self, spec: str) -> str:
        if spec in _KINDS:
            return with_decimal_sign(_KINDS[spec](self.value))
        if isinstance(self.value, list) or type(self.value) is tuple:
            return _listed([str(one) for one in self.value], spec)
        return super().__format__(spec)


def _listed(texts: list[str], spec: str) -> str:
    if spec in _JOINED:
        return _JOINED[spec].join(texts)
    last = translated(PHRASES["or" if spec == "or" else "and"])
    return f"{', '.join(texts[:-1])} {last} {texts[-1]}" if len(texts) > 1 else "".join(texts)
