"""The language and the place that a sentence is made for, and the one function that makes it.

A sentence is written once in English, with places for its values: ``say("range {name} is not above the dark", name=...)``.
The English text is the message id of the catalogues (``catalogues/LANGUAGE/LC_MESSAGES/meterlink.po``), which are gettext's:
what is not translated is said in English.  Errors carry template and values and become a sentence when they are shown.

Language: ``METERLINK_LANGUAGE``, else the locale (``LC_ALL``, ``LC_MESSAGES``, ``LANG``), else English; the app sets its own.
Numbers in a sentence get the language's decimal sign; JSON never comes through here.  This module and ``actions`` stand on the
ground floor, beside ``errors``: they import nothing of the package.
"""

from __future__ import annotations

import gettext
import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from enum import StrEnum
from functools import cache
from pathlib import Path

CATALOGUES = Path(__file__).with_name("catalogues")
DOMAIN = "meterlink"
NAMES = {"en": "English", "de": "Deutsch"}
"""Languages that there are, each by its own name."""
DECIMAL_COMMA = frozenset({"de"})
"""Languages that write 1.234,5 for 1,234.5."""
_SWAPPED = str.maketrans(".,", ",.")


class Place(StrEnum):
    """Where a sentence appears; it decides how an action is put (``actions.Do``)."""

    TERMINAL = "terminal"
    PHONE = "phone"
    PAGE = "page"
    VOICE = "voice"


_language: str | None = None
_usual_place = Place.TERMINAL
_place: ContextVar[Place | None] = ContextVar("place", default=None)


def language() -> str:
    """Return the language in use: chosen by ``use``, else by the surroundings."""
    global _language
    if _language is None:
        _language = _from_surroundings(os.environ)
    return _language


def use(chosen: str | None, place: Place | None = None) -> None:
    """Speak this language from now on (an unknown one is English; None: ask the surroundings), by default for ``place``."""
    global _language, _usual_place
    _language = None if chosen is None else _known(chosen) or "en"
    _usual_place = place or _usual_place


@contextmanager
def spoken_in(code: str) -> Iterator[None]:
    """Make sentences in another language for a while: what a program reads is English wherever it runs."""
    global _language
    before = language()
    _language = code
    try:
        yield
    finally:
        _language = before


def place() -> Place:
    """Return the place that sentences are made for now."""
    return _place.get() or _usual_place


@contextmanager
def spoken_for(where: Place) -> Iterator[None]:
    """Make sentences for another place for a while (the printed page, the voice)."""
    token = _place.set(where)
    try:
        yield
    finally:
        _place.reset(token)


def _from_surroundings(environ: Mapping[str, str]) -> str:
    wanted = environ.get("METERLINK_LANGUAGE", "").strip()
    if wanted:
        return _known(wanted) or "en"
    # The first of these that is set decides, as for every program.
    found = next((environ[name] for name in ("LC_ALL", "LC_MESSAGES", "LANG") if environ.get(name)), "")
    return _known(found) or "en"


def _known(text: str) -> str | None:
    """``de_AT.UTF-8`` -> ``de``; None for a language that we do not speak."""
    short = text.replace("-", "_").partition("_")[0].partition(".")[0].lower()
    return short if short in NAMES else None


@cache
def _catalogue(code: str) -> gettext.NullTranslations:
    if code == "en":
        return gettext.NullTranslations()
    return gettext.translation(DOMAIN, CATALOGUES, [code], fallback=True)


def marked(text: str) -> str:
    """Return the text as it is: marks a text that is said later for the catalogues (``babel.cfg``)."""
    return text


def say(template: str, /, **values: object) -> str:
    """Return a sentence in the language in use.  Values are formatted as by ``str.format``, with the language's decimal sign."""
    return _filled(translated(template), template, values)


def say_for(context: str, template: str, /, **values: object) -> str:
    """As ``say``, for a text that means several things: ``context`` (``"role"``) tells them apart."""
    catalogue = _catalogue(language())
    return _filled(catalogue.pgettext(context, template), template, values)


def say_count(one: str, many: str, count: int, /, **values: object) -> str:
    """As ``say``, with the form that fits a number; ``{count}`` is the number."""
    chosen = _catalogue(language()).ngettext(one, many, count)
    return _filled(chosen, one if count == 1 else many, {"count": count, **values})


def translated(template: str) -> str:
    """Return a template in the language in use, its places not filled."""
    # gettext gives the catalogue's own head for an empty text.
    return _catalogue(language()).gettext(template) if template else ""


def _filled(text: str, english: str, values: Mapping[str, object]) -> str:
    if not values:
        return text
    values = {name: Written(value) if isinstance(value, float | int) else value for name, value in values.items()}
    try:
        return text.format(**values)
    except (KeyError, IndexError, ValueError):
        # A damaged catalogue must not hide what happened.
        return english.format(**values)


class Written:
    """A value in a sentence: a number is formatted with the signs of the language in use."""

    def __init__(self, value: object) -> None:
        self.value = value

    def __format__(self, spec: str) -> str:
        text = format(self.value, spec)
        return with_decimal_sign(text) if isinstance(self.value, float | int) else text

    def __str__(self) -> str:
        return str(self.value)

    def __repr__(self) -> str:
        return repr(self.value)


def with_decimal_sign(number: str) -> str:
    """Return a formatted number (``1,234.5``) with the decimal sign of the language in use (``1.234,5``), and the space before a
    percent sign (ISO 80000-1)."""
    if number.endswith("%"):
        number = f"{number[:-1].rstrip()} %"
    return number.translate(_SWAPPED) if language() in DECIMAL_COMMA else number


_TOGETHER = re.compile(
    "(?<=[0-9±×]) (?=(?:[±×]|[−+-]?[0-9]|cm|mm|m|in|ft|k?lx|lx·s|ms|s|%|K|J|stops?|Blenden?)(?![a-zäöü]))"
    "|(?<=[0-9]°) (?=[a-z])|(?<=ISO) (?=[0-9])"
)
"""A number and its unit, side, uncertainty, tenths or second size stay on one line."""


def unbroken(text: str) -> str:
    """Return a text with no-break spaces where no line may end."""
    return _TOGETHER.sub("\N{NO-BREAK SPACE}", text)
