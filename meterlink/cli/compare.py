"""Two set-ups, or two dates of one, side by side: light by light, only what differs.

examples:
  meterlink compare "Low key" "Low key, tall"
  meterlink compare "Low key"                                   against the set-up in use
  meterlink compare "Low key" --at 2026-03-01                   as it was at the end of that day, against now
  meterlink compare "Low key" --at "2026-03-01 14:30" --second-at 2026-03-02
  meterlink compare "Low key" "Low key, tall" --json
"""

from __future__ import annotations

import argparse
import time

from meterlink.cli.completing import SETUPS
from meterlink.cli.frame import JSON, open_library, option, out, print_json, print_rows
from meterlink.errors import UnitError
from meterlink.judging.judged_set import JudgedSet
from meterlink.metering.opened_set import OpenedSet
from meterlink.tables.compare import compare
from meterlink.words.language import say, translated

FORMATS = ("%Y-%m-%d", "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S")
OPTIONS = (
    option("first", metavar="SETUP", help="a set-up", offers=SETUPS),
    option("second", nargs="?", metavar="SETUP", help="default: the one in use; with --at: the same set-up now", offers=SETUPS),
    option("--at", metavar="DATE", help="the first one as it was then: 2026-03-01 (end of the day) or with 14:30"),
    option("--second-at", metavar="DATE", help="the same for the second one"),
    JSON,
)


def run(args: argparse.Namespace) -> None:
    """Print the differences."""
    at, second_at = parse_date(args.at), parse_date(args.second_at)
    with open_library(args, create=False) as library:
        dated = at is not None or second_at is not None
        first = OpenedSet(library, args.first)
        second = OpenedSet(library, args.second or (args.first if dated else None))
        names = [_named(first, args.at), _named(second, args.second_at or (say("now") if dated and not args.second else ""))]
        found = compare(_view(first, at), _view(second, second_at))
    if args.json:
        print_json(found)
    elif not found:
        out("{first} and {second}: no difference", first=names[0], second=names[1])
    else:
        rows = [(one.light or say("set"), translated(one.what), str(one.first), str(one.second)) for one in found]
        print_rows(("light", "what", *names), rows)


def _view(session: OpenedSet, at_s: float | None) -> JudgedSet:
    return session.view() if at_s is None else session.view_at(at_s)


def _named(session: OpenedSet, date: str | None) -> str:
    return f"{session.setup.name}, {date}" if date else session.setup.name


def parse_date(text: str | None) -> float | None:
    """Return seconds since 1970 of a local date: a day alone means its end.  Raises UnitError."""
    if text is None:
        return None
    plain = " ".join(text.split())[:40]
    for form in FORMATS:
        try:
            moment = time.strptime(plain, form)
            day_end = 86_399.999 if form == FORMATS[0] else 0.0
            return time.mktime(moment) + day_end
        except (ValueError, OverflowError):
            continue
    raise UnitError("date '{plain}' cannot be read: give 2026-03-01 or '2026-03-01 14:30'", text, plain=plain)
