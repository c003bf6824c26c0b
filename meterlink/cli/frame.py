"""What the verbs share: opening the library, choosing the set-up, printing a table or JSON."""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import textwrap
from collections.abc import Sequence
from typing import Any

from meterlink import units
from meterlink.cli.completing import SETUPS, completes
from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.records import Light, Setup
from meterlink.records.placement_rules import check_held_off


def add_setup_option(parser: argparse.ArgumentParser) -> None:
    """``--setup NAME``: another set-up than the current one, for this command only."""
    completes(parser.add_argument("--setup", metavar="NAME", help="set-up to use (default: the current one)"), SETUPS)


def add_json_option(parser: argparse.ArgumentParser) -> None:
    """``--json``: the same as data."""
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")


def open_library(args: argparse.Namespace, *, create: bool = True) -> Library:
    """Open the library that the command line names; ``create=False`` makes none where there is none."""
    return Library.open(args.library, create=create)


def open_session(args: argparse.Namespace) -> Session:
    """Open the library, which must be there, and a session on the chosen set-up."""
    library = open_library(args, create=False)
    try:
        return Session(library, setup=getattr(args, "setup", None))
    except BaseException:
        library.close()
        raise


def chosen_setup(library: Library, name: str | None) -> Setup:
    """Return the set-up named, else the current one."""
    return library.setup(name) if name else library.current_setup()


def named_light(text: str, session: Session) -> tuple[Light, float | None]:
    """Return the light that ``KEY`` or ``KEY@20cm`` names, and the distance, which must be one that can be."""
    known = {one.name.casefold() for one in session.lights()}
    # A light may itself be called A@B: the whole text is tried as a name first.
    held = units.Held(text, None) if text.casefold() in known else units.parse_held_off(text)
    light = session.light(held.name)
    check_held_off(held.held_off_m, session.placement(light.id), light.name)
    return light, held.held_off_m


def print_json(value: Any) -> None:
    """Print JSON; missing is null, NaN never appears."""
    print(json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False))


def say(text: str) -> None:
    """Tell something beside the answer, on standard error."""
    print(f"  {text}", file=sys.stderr, flush=True)


def is_terminal() -> bool:
    """Say whether a person looks at the output (colour and boxes) or a program reads it."""
    return sys.stdout is not None and sys.stdout.isatty() and not os.environ.get("NO_COLOR")


def wrapped(text: str, indent: str = "    ") -> str:
    """Return a sentence broken at words for the terminal's width; for a program it stays one line."""
    if not is_terminal():
        return text
    width = max(40, shutil.get_terminal_size().columns)
    return textwrap.fill(text, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def print_rows(headings: Sequence[str], rows: Sequence[Sequence[str]], *, title: str = "", right: str = "") -> None:
    """Print a table: rich on a terminal, plain aligned columns when piped.

    ``right`` has one character per column: ``r`` aligns it to the right.
    """
    right = right.ljust(len(headings), "l")
    rows = [[" ".join(str(cell).splitlines()) for cell in row] for row in rows]  # a line end in a name makes no row
    if is_terminal():
        _print_rich(headings, rows, title, right)
        return
    if title:
        print(title)
    widths = [max(len(str(row[i])) for row in (headings, *rows)) for i in range(len(headings))]
    for row in (headings, *rows):
        cells = [
            str(cell).rjust(width) if side == "r" else str(cell).ljust(width)
            for cell, width, side in zip(row, widths, right, strict=True)
        ]
        print("  ".join(cells).rstrip())


def _print_rich(headings: Sequence[str], rows: Sequence[Sequence[str]], title: str, right: str) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    # No box: the widest row of the ratio table then fits the 80 columns of a small terminal.
    table = Table(box=None, title=title or None, title_justify="left", pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for heading, side in zip(headings, right, strict=True):
        table.add_column(heading, justify="right" if side == "r" else "left", no_wrap=True)
    for row in rows:
        # Text, not markup: a light named "[red]" must not colour the table.
        table.add_row(*(Text(str(cell), style=_style(str(cell))) for cell in row))
    Console().print(table)


def _style(cell: str) -> str:
    # Words and signs carry the meaning; colour only underlines it.
    return {"good": "green", "corrected": "yellow", "retake": "bold red"}.get(cell, "")
