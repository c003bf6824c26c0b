"""Colour of each light against the key's, the gel that would match it, and how a head's colour goes with its power.

examples:
  meterlink colour
  meterlink colour --json
  meterlink colour FILL                        this light's head over its powers, by its own readings
  meterlink colour FILL --picture drift.png    the same as a picture (.png or .svg)

Only what a sensor that sees colour has read counts; other sensors say nothing about it.  To try it without one, with gels as
'light move FILL --gel "half CTO"':  meterlink meter --all --sensor "sim:?colour=yes"  A shift in mired is positive for a gel
that lowers the CCT.  Limits of a set: meterlink setup change --colour-limit 10 --colour-limit-duv 0.006
"""

from __future__ import annotations

import argparse

from meterlink.checks.colour import ColourRow, colour_rows
from meterlink.cli.frame import JSON, SETUP, open_set, option, out, print_json, print_rows
from meterlink.cli.kit import curves_data
from meterlink.errors import NotInLibrary, UsageError
from meterlink.judging.fixture_curves import fixture_curves
from meterlink.metering.opened_set import OpenedSet
from meterlink.report.plots import drift_drawing, drift_lines
from meterlink.words.actions import Do
from meterlink.words.language import say, say_count
from meterlink.words.shared import UNKNOWN, known
from meterlink.words.told import written

OPTIONS = (
    option("light", nargs="?", metavar="LIGHT"),
    option("--picture", metavar="FILE", help="with a light: its head over power as .png or .svg"),
    SETUP,
    JSON,
)


def run(args: argparse.Namespace) -> None:
    """Print the table, or one head's curves."""
    if args.picture and not args.light:
        raise UsageError("say whose picture: {do}", do=Do("colour_plot"))
    with open_set(args, OpenedSet) as session:
        if args.light:
            _one(args, session)
        else:
            _all(args, session)


def _all(args: argparse.Namespace, session: OpenedSet) -> None:
    rows = colour_rows(session.view())
    if args.json:
        print_json(rows)
        return
    if not rows:
        out("{setup}: no light was read with a sensor that sees colour", setup=session.setup.name)
        return
    cells = [_cells(row) for row in rows]
    print_rows(
        ("light", "power", "CCT", "Duv", "mired", "gel to match the key", ""), cells, title=session.setup.name, right="lrrrrll"
    )


def _cells(row: ColourRow) -> tuple[str, ...]:
    if row.gel_mired is None:
        gel = say("not with the key's sensor, or the key's colour is not known")
    elif abs(row.gel_mired) < 0.5:
        gel = UNKNOWN
    else:
        lowers = row.gel_mired > 0
        gel = say("{mired:.0f} mired, lowers the CCT" if lowers else "{mired:.0f} mired, raises the CCT", mired=abs(row.gel_mired))
    duv, power = known(row.duv, "duv"), written(row.power, "figure") or UNKNOWN
    mark = say("differs") if row.differs else ""
    if row.gel_on_it:
        mark = " ".join(filter(None, (mark, say("(has '{gel}' on it)", gel=row.gel_on_it))))
    return row.light, power, f"{row.cct_k:.0f} K", duv, f"{row.mired:.0f}", gel, mark


def _one(args: argparse.Namespace, session: OpenedSet) -> None:
    light = session.light(args.light)
    view = session.view()
    state = view.state(light.id)
    assert state is not None
    curves = fixture_curves(state, view)
    if args.json:
        print_json({"name": curves.name, **curves_data(curves)})
    else:
        lines = drift_lines(curves)
        print(say_count(
            "{name}: {count} reading with a power", "{name}: {count} readings with a power", curves.readings, name=curves.name
        ))  # fmt: skip
        for line in lines or [say("read it at two powers at least half a stop apart to see how it changes")]:
            print(line)
    if args.picture:
        try:
            drawing = drift_drawing(curves)
        except ValueError as error:
            raise NotInLibrary("{error}: meter {light} at another power", error=error, light=light.name) from error
        drawing.write(args.picture)
        if not args.json:
            out("picture: {file}", file=args.picture)
