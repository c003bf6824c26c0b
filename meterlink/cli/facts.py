"""Optional facts of a set-up: ``--shutter-kind``, ``--sync``, ``--movement``, ``--backdrop-distance`` ...

One table: the option, where it is kept in ``Setup.details``, how it is read.  ``none`` forgets a fact.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from math import inf, nan
from pathlib import Path
from typing import Any

from meterlink import units
from meterlink.checks.facts import FACTS, MOVEMENTS
from meterlink.cli.as_typed import number
from meterlink.errors import UnitError
from meterlink.photometry.shutter import KINDS
from meterlink.report.picture import small_picture
from meterlink.tables.compare import FACT_MAX, fact_words, key_words
from meterlink.words.language import say, translated

OPTIONS: tuple[tuple[str, str, str, str, str], ...] = (
    # option, key in Setup.details, how it is read, placeholder, help
    ("--shutter-kind", "shutter_kind", "kind", "KIND", "focal-plane, leaf or electronic"),
    ("--sync", "sync_speed_s", "shutter", "T", "the camera's flash sync speed, e.g. 1/200"),
    ("--curtain-travel", "curtain_travel_s", "time", "T", "time the curtains travel (electronic: readout), e.g. 3.2ms"),
    ("--trigger-delay", "trigger_delay_s", "time", "T", "how late the flash starts, e.g. 0.3ms"),
    ("--movement", "movement", "movement", "WHAT", "what is to be frozen: hands, hair, walking, dancer ... or 2m/s"),
    ("--focal-length", "focal_length_mm", "number", "MM", "e.g. 85mm"),
    ("--pixel-pitch", "pixel_pitch_um", "number", "UM", "size of a pixel on the camera's chip, e.g. 4.3um"),
    ("--magnification", "magnification", "number", "X", "image size over object size, instead of focal length and distance"),
    ("--blur-limit", "blur_limit_px", "blur", "B", "longest trail that counts as frozen: 5px or 1mm"),
    ("--colour-limit", "colour_limit_mired", "number", "MIRED", "lights count as different from the key beyond this (10)"),
    ("--colour-limit-duv", "colour_limit_duv", "number", "DUV", "the same across the Planckian locus (0.006)"),
    ("--camera-distance", "camera_distance_m", "length", "L", "camera to face"),
    ("--camera-height", "camera_height_m", "length", "L", "camera above the floor"),
    ("--face-height", "face_height_m", "length", "L", "face above the floor"),
    ("--framing", "framing", "words", "TEXT", "e.g. head, half, full length"),
    ("--mark", "mark", "words", "TEXT", "where the subject stands"),
    ("--backdrop", "backdrop", "words", "TEXT", "what it is"),
    ("--backdrop-distance", "backdrop_distance_m", "length", "L", "face to backdrop"),
    ("--backdrop-reflectance", "backdrop_reflectance", "fraction", "R", "0 to 1, or 18%%"),
    ("--aperture", "aperture", "aperture", "N", "aperture that was used, e.g. f/8"),
    ("--reference-photo", "reference_photo", "words", "PATH", "where the reference photograph is"),
    ("--reference-picture", "reference_picture", "picture", "FILE", "keep a small copy of a photograph for the sheet"),
)
OTHER_UNIT = {"movement": "movement_m_s", "blur_limit_px": "blur_limit_mm"}
"""What may be said in two ways, under two keys: the one typed last counts."""


def add_fact_options(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    group = parser.add_argument_group("facts", "kept with the set-up, shown on its sheet, used by checks; 'none' forgets one")
    for option, key, _, meta, text in OPTIONS:
        group.add_argument(option, metavar=meta, help=text, dest=f"fact_{key}")


def changed_details(args: argparse.Namespace, old: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the details with what was typed, None when nothing was.  Raises UnitError."""
    typed = [(key, how, getattr(args, f"fact_{key}", None)) for _, key, how, _, _ in OPTIONS]
    if all(text is None for _, _, text in typed):
        return None
    details = dict(old)
    for key, how, text in typed:
        if text is not None:
            _put(details, key, how, text)
    return details


def _put(details: dict[str, Any], key: str, how: str, text: str) -> None:
    other = OTHER_UNIT.get(key, "")
    details.pop(key, None)
    details.pop(other, None)
    if text.strip().lower() in ("none", ""):
        return
    value = READ[how](text, key)
    if (how == "movement" and not isinstance(value, str)) or (how == "blur" and text.strip().lower().endswith("mm")):
        key = other
    low, high = FACTS.get(key, (value, value))
    if not low <= value <= high:
        raise UnitError(
            "{what} '{typed}' cannot be: give {low:g} to {high:g}",
            text, what=translated(key_words(key)), typed=text[:20], low=low, high=high,
        )
    details[key] = value


def _kind(text: str, _key: str) -> str:
    plain = text.strip().lower().replace(" ", "-")
    if plain not in KINDS:
        *kinds, last = KINDS
        raise UnitError("shutter kind '{typed}': give {kinds} or {last}", text, typed=text[:20], kinds=", ".join(kinds), last=last)
    return plain


def _number(text: str, key: str) -> float:
    """A plain number with at most its own unit behind it."""
    plain = text.strip().lower().replace(",", ".")
    for unit in ("mired", "mm", "um", "µm", "px", "x"):
        plain = plain.removesuffix(unit).strip()
    value = number(plain) if len(plain) < 20 else nan
    if not 0.0 <= value < inf:
        raise UnitError(
            "{what} '{typed}' cannot be read: give a plain number, 0 or more",
            text, what=translated(key_words(key)), typed=text[:20],
        )
    return value


def _fraction(text: str, key: str) -> float:
    plain = text.strip()
    value = _number(plain.removesuffix("%"), key) / (100.0 if plain.endswith("%") else 1.0)
    if value > 1.0:
        raise UnitError("{what} '{typed}' cannot be: give 0 to 1, or 18%", text, what=translated(key_words(key)), typed=text[:20])
    return value


def _movement(text: str, _key: str) -> float | str:
    plain = text.strip().lower()
    if plain in MOVEMENTS:
        return plain
    try:
        return units.parse_movement(text)
    except UnitError as error:
        raise UnitError(
            "movement '{typed}' cannot be read: give {words}, or a speed such as 2m/s or 6ft/s",
            text, typed=text[:20], words=", ".join(MOVEMENTS),
        ) from error


def _words(text: str, key: str) -> str:
    plain = " ".join(text.split())
    if len(plain) > FACT_MAX:
        raise UnitError(
            "{what} is too long: give at most {max_words} characters", text, what=translated(key_words(key)), max_words=FACT_MAX
        )
    return plain


READ: dict[str, Callable[[str, str], Any]] = {
    "kind": _kind, "number": _number, "blur": _number, "fraction": _fraction, "movement": _movement, "words": _words,
    "shutter": lambda text, _: units.parse_shutter(text),
    "time": lambda text, key: 0.0 if text.strip() in ("0", "0s", "0ms") else units.parse_time(text, key_words(key)),
    "length": lambda text, key: units.parse_distance(text, key_words(key)),
    "aperture": lambda text, _: units.format_f_number(units.parse_f_number(text)),
    "picture": lambda text, _: small_picture(Path(text).expanduser()),
}  # fmt: skip
"""How a fact is read: from its text and its key in ``Setup.details``."""


def fact_lines(details: Mapping[str, Any]) -> list[str]:
    """What is known, one line each, for ``setup show``."""
    keys = [key for key in (*(key for _, key, *_ in OPTIONS), *OTHER_UNIT.values()) if key in details]
    kept = {"reference_picture": say("a small copy is kept")}
    return [f"{translated(key_words(key))}: {kept.get(key) or fact_words(key, details[key])}" for key in keys]
