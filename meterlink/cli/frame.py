"""What the verbs share: their options, opening the library, choosing the set-up, printing a table or JSON."""

from __future__ import annotations

import argparse
import json
import sys
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple, TypeVar

from meterlink.cli.completing import SETUPS, Completer
from meterlink.cli.terminal import BOLD, PLAIN, CleanStream, broken, is_terminal, terminal_width
from meterlink.library.store import Library
from meterlink.metering.opened_set import OpenedSet
from meterlink.records.kept import RECEPTORS
from meterlink.words.language import say, say_for
from meterlink.words.told import plain, put

Option = Callable[[Any], object]
"""Adds an option, or several, to a parser."""
Opened = TypeVar("Opened", bound=OpenedSet)
COLOURS = {"good": "\033[32m", "corrected": "\033[33m", "retake": "\033[1;31m"}
SENTENCES = frozenset({"reason", "what to do"})
"""Columns that hold sentences: they need no heading under a row."""


def option(*names: str, offers: Completer | Sequence[str] | None = None, **how: Any) -> Option:
    """An option or argument, ``how`` as argparse takes it; ``offers``: what the shell completes it with."""
    def declare(parser: Any) -> None:
        action = parser.add_argument(*names, **how)
        if offers is not None:
            setattr(action, "completer", offers if callable(offers) else lambda **_: offers)  # noqa: B010 - for argcomplete

    return declare


def declare(parser: Any, options: Iterable[Option]) -> None:
    """Add options to a parser or a group of one."""
    for add in options:
        add(parser)


def one_of(*options: Option) -> Option:
    """Options of which one at most is given."""
    return lambda parser: declare(parser.add_mutually_exclusive_group(), options)


class Action(NamedTuple):
    """One of the things that a verb does."""

    do: Callable[..., int | None]
    """What the verb's ``run`` calls, as ``args.do``."""
    about: str
    options: Sequence[Option] = ()
    aliases: Sequence[str] = ()


def actions(**by_name: Action) -> Option:
    """The actions of a verb, one of which is named, each with its own options."""
    def add(parser: argparse.ArgumentParser) -> None:
        parsers = parser.add_subparsers(dest="action", required=True, metavar="|".join(by_name))
        for name, action in by_name.items():
            one = parsers.add_parser(name, aliases=action.aliases, help=action.about)
            one.set_defaults(do=action.do)
            declare(one, action.options)

    return add


JSON = option("--json", action="store_true", help="print JSON instead of a table")
SENSOR = option("--sensor", metavar="URL", help="e.g. serial:/dev/ttyACM0, ble:ADDRESS, sim:")
RECEPTOR = option("--receptor", choices=RECEPTORS, help="which receptor is on the sensor")
_ABOUT_SETUP = "set-up to use (default: the current one)"
SETUP = option("--setup", metavar="NAME", help=_ABOUT_SETUP, offers=SETUPS)
"""Another set-up than the current one, for this command only."""
SETUP_BY_NAME = (
    # Without a default, so that where it is not typed it does not undo the option.
    option("setup", nargs="?", metavar="SETUP", default=argparse.SUPPRESS, help=_ABOUT_SETUP, offers=SETUPS),
    SETUP,
)
"""Its name alone says so, too."""


def open_library(args: argparse.Namespace, *, create: bool = True) -> Library:
    """Open the library that the command line names; ``create=False`` makes none where there is none."""
    return Library.open(args.library, create=create)


@contextmanager
def open_set(args: argparse.Namespace, kind: type[Opened]) -> Iterator[Opened]:
    """Open the library, which must be there, and the chosen set-up: an ``OpenedSet`` to look at, a ``Session`` to meter."""
    with open_library(args, create=False) as library:
        yield kind(library, setup=getattr(args, "setup", None))


def print_json(value: Any) -> None:
    """Print JSON; missing is null, NaN never appears.  It is for programs: a terminal, too, gets its lines whole."""
    stream = sys.stdout.whole if isinstance(sys.stdout, CleanStream) else sys.stdout
    print(json.dumps(plain(value), indent=1, ensure_ascii=False, allow_nan=False), file=stream)


def out(template: str, /, **values: object) -> None:
    """Print a sentence in the language in use, its values written as in a phrase (``words/told.py``)."""
    print(put(template, **values), flush=True)


def beside(text: object) -> None:
    """Print what belongs not to the answer, on standard error."""
    print(text, file=sys.stderr, flush=True)


def hanging(text: str, indent: str) -> str:
    """Return a sentence whose further lines on a terminal begin with an ``indent`` of its own; for a program it stays one line."""
    return broken(text, indent, terminal_width()) if is_terminal() else text


def print_rows(headings: Sequence[str], rows: Sequence[Sequence[str]], *, title: str = "", right: str = "") -> None:
    """Print a table: on a terminal as wide as it is, whole when piped.

    ``right`` has one character per column: ``r`` aligns it to the right.  Of a table that is wider than the terminal the longest
    columns of text go under their row, broken at words: nothing is cut.
    """
    right = right.ljust(len(headings), "l")
    sentences = [heading in SENTENCES for heading in headings]
    headings = [heading and say_for("column", heading) for heading in headings]
    # A line end in a name makes no row.
    rows = [[" ".join(str(cell).splitlines()) for cell in row] for row in rows]
    terminal = is_terminal()
    colours = {say(word): colour for word, colour in COLOURS.items()} if terminal else {}
    bold, plain = (BOLD, PLAIN) if terminal else ("", "")
    if title:
        print(f"{bold}{title}{plain}")
    widths = [max(map(cell_width, column)) for column in zip(headings, *rows, strict=True)]
    kept = _fitting(widths, sentences, terminal_width()) if terminal else list(range(len(headings)))
    space = 1 if terminal and sum(widths[i] + 2 for i in kept) - 2 > terminal_width() else 2
    for number, row in enumerate((headings, *rows)):
        cells = []
        for i in kept:
            pad = " " * (widths[i] - cell_width(row[i]))
            cell = pad + row[i] if right[i] == "r" else row[i] + pad
            # Words and signs carry the meaning; colour only underlines it.
            cells.append(colours[row[i]] + cell + PLAIN if row[i] in colours else cell)
        line = (" " * space).join(cells).rstrip()
        print(f"{bold}{line}{plain}" if number == 0 else line)
        if number:
            for i in (i for i in range(len(headings)) if i not in kept and row[i]):
                print(hanging(f"    {row[i]}" if sentences[i] or not headings[i] else f"    {headings[i]}: {row[i]}", " " * 6))


def _fitting(widths: Sequence[int], sentences: Sequence[bool], width: int) -> list[int]:
    """Columns that stand side by side in this width: those of sentences leave first, then the widest ones, never the first."""
    kept = list(range(len(widths)))
    while len(kept) > 1 and sum(widths[i] + 1 for i in kept) - 1 > width:
        kept.remove(max(kept[1:], key=lambda i: (sentences[i], widths[i])))
    return kept


def cell_width(text: str) -> int:
    """Columns of a terminal that a text takes: wide letters take two, marks above others none."""
    return sum(0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in text)
