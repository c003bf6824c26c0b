"""Bring a set back to a stored one: light by light, what differs at the face and what closes it.

examples:
  meterlink match "Low key"                 build it, one pop a light, then a second one where something had to be turned
  meterlink match "Low key" --set           the last small changes are made: record them and report, without a further pop
  meterlink match "Low key" --report        only compare what is metered already
  meterlink match "Low key" --tolerance 0.2
  meterlink match "Low key" --lights        turn the lights even where one change of ISO or aperture would do
  meterlink match "Low key" --report --json

The rebuild is a set-up of its own, copied from the stored one, and in use from now on.  After the first pop of every light
you are told what to change; change it all, then fire those lights once more: meterlink takes it that you did.  Lights that one
pop cannot tell surely are fired once more as they stand.  What is still off then is small and known from both pops: set it, no
third pop is needed, and say so with --set.  What is still far off is told too: change it, say --set, and match again
for one more pop of it.  When you follow the camera's change instead, say so: meterlink setup
change --iso 125 (or --aperture f/9), then --report.
"""

from __future__ import annotations

import argparse
import contextlib
import sys

from meterlink import units
from meterlink.cli.completing import SETUPS
from meterlink.cli.frame import JSON, SENSOR, open_library, option, print_json, print_rows
from meterlink.cli.light import describe
from meterlink.errors import UsageError
from meterlink.metering.rebuild import Rebuild, rebuild_of
from meterlink.metering.session import Session
from meterlink.tables.match import MatchReport
from meterlink.words.actions import Do
from meterlink.words.language import say
from meterlink.words.shared import known
from meterlink.words.told import written

OPTIONS = (
    option("stored", metavar="SETUP", help="the stored set-up", offers=SETUPS),
    option(
        "--tolerance", metavar="STOPS", help="default 0.1, or half of the fixture's own step; holds for --report and --set"
    ),
    option("--report", action="store_true", help="compare only, meter nothing"),
    option("--set", action="store_true", dest="made", help="the last changes are made: record them, then report"),
    option("--lights", action="store_true", help="close a common difference at the lights, not at the camera"),
    SENSOR,
    option(
        "--here", action="store_true", help="the set-up in use is the rebuild: make no copy, fire only what is open"
    ),
    JSON,
)


def run(args: argparse.Namespace) -> int:
    """Walk and report; exit code 1 when not everything matches."""
    tolerance = None if args.tolerance is None else units.parse_stops(args.tolerance, "tolerance", 2, signed=False)
    with open_library(args, create=False) as library:
        stored = Session(library, args.stored)
        if args.report or args.made:
            rebuild = Rebuild(library, stored, tolerance_stops=tolerance, keep_common=not args.lights)
            rebuild.resume()
            if args.made and not (*rebuild.set_last(), *rebuild.set_open()):
                raise UsageError("{setup}: there is no last change to make: see --report", setup=rebuild.setup.name)
        else:
            rebuild = rebuild_of(library, stored, here=args.here, tolerance_stops=tolerance, keep_common=not args.lights)
            # With --json the data alone goes to the output; what is said on the way goes beside it.
            with contextlib.redirect_stdout(sys.stderr) if args.json else contextlib.nullcontext():
                _walk(args, rebuild)
        report = rebuild.report()
        if args.json:
            print_json({**report.as_json(), "last": rebuild.last})
        else:
            print_report(rebuild, report)
    return 0 if report.done else 1


def _walk(args: argparse.Namespace, rebuild: Rebuild) -> None:
    from asyncio import run

    from meterlink.cli.driving import drive

    missing = [] if rebuild.resume() else rebuild.begin_rebuild(open_only=args.here)
    if rebuild.walk.waiting is None:
        return
    print(say("{setup}: build it as {stored} was", setup=rebuild.setup.name, stored=rebuild.stored.setup.name))
    for state in rebuild.stored.view().lights:
        print(f"  {describe(state.light, state.placement)}")
    for line in missing:
        print(f"! {line}")
    print()
    run(drive(rebuild, args.sensor, after=lambda outcome: "\n".join(map(str, rebuild.after(outcome)))))


def print_report(rebuild: Rebuild, report: MatchReport) -> None:
    """Print what matches and what does not."""
    print("\n" + say("{setup} against {stored}", setup=rebuild.setup.name, stored=rebuild.stored.setup.name))
    rows = []
    for row in report.rows:
        u95 = "" if row.u95_stops is None else f"±{written(row.u95_stops, '.1f')}"
        state = say("matches" if row.within else "open")
        # That it matches stands in the row already.
        todo = "" if row.sentence.code == "matches" else str(row.sentence)
        rows.append((row.light, known(row.difference_stops, "stops2"), u95, state, todo))
    print_rows(("light", "off by", "", "", "what to do"), rows, right="lrlll")
    if report.camera:
        print(say("{change}; then say so: {do}", change=report.camera, do=Do("change_setup")))
    for name in report.extra:
        stored = rebuild.stored.setup.name
        print(say("{light} gives light and was not in {stored}: switch it off or remove it", light=name, stored=stored))
    if report.done:
        print(say("done: every light is within its tolerance"))
    elif not report.rows:
        print(say("{setup} has no readings: there is nothing to match", setup=rebuild.stored.setup.name))
    if last := rebuild.last:
        do = Do("match_set", setup=rebuild.stored.setup.name)
        print(say("set these last, they need no further pop, then: {do}", do=do))
        for turn in last:
            print(f"  {turn.sentence}")
    elif not report.done and report.rows:
        print(_next_step(rebuild, report))


def _next_step(rebuild: Rebuild, report: MatchReport) -> str:
    """What to do now that something is still open."""
    stored = rebuild.stored.setup.name
    waits = rebuild.walk.waiting is not None or any(row.now_lxs is None for row in report.rows)
    if not waits and any(not row.within and row.move is not None for row in report.rows) and not report.camera:
        return say("change what is open as it says, then: {do}", do=Do("match_set", setup=stored))
    goes_on = rebuild.walk.waiting is not None and rebuild.is_its_rebuild
    return say("then fire what is open: {do}", do=Do("match" if goes_on else "match_here", setup=stored))
