"""Bring a set back to a stored one: light by light, what differs at the face and what closes it.

examples:
  meterlink match "Low key"                 build it, then one pop a light; a second one where a dial had to be turned
  meterlink match "Low key" --report        only compare what is metered already
  meterlink match "Low key" --tolerance 0.2
  meterlink match "Low key" --report --json

The rebuild is a set-up of its own, copied from the stored one, and in use from now on.  When a light is off, turn the dial (or
move the light) as told and fire once more: meterlink takes it that you did.
"""

from __future__ import annotations

from meterlink.cli.frame import add_json_option, open_library, print_json, print_rows

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from meterlink.library.store import Library
    from meterlink.session import Outcome, Session
    from meterlink.setwork.match import MatchReport
    from meterlink.setwork.view import SetView

STORED = "match:stored"


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("stored", metavar="SETUP", help="the stored set-up")
    parser.add_argument("--tolerance", metavar="STOPS", help="default 0.1, or the fixture's own step")
    parser.add_argument("--report", action="store_true", help="compare only, meter nothing")
    parser.add_argument("--sensor", metavar="URL")
    parser.add_argument("--here", action="store_true", help="the set-up in use is the rebuild: make no copy")
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Walk and report; exit code 1 when not everything matches."""
    from meterlink import units
    from meterlink.session import Session
    from meterlink.setwork.match import match_report

    tolerance = units.parse_stops(args.tolerance, "tolerance", 2) if args.tolerance else None
    with open_library(args) as library:
        stored = Session(library, args.stored)
        session = _rebuild(library, stored, args)
        if not args.report:
            _walk(args, stored, session, tolerance)
        report = match_report(stored.view(), session.view(), tolerance)
        if args.json:
            print_json(report.as_json())
        else:
            print_report(stored, session, report)
    return 0 if report.done else 1


def _rebuild(library: Library, stored: Session, args: argparse.Namespace) -> Session:
    """The set-up that is the rebuild: the one in use if it was begun as such, else a fresh copy."""
    from meterlink.demo import free_name
    from meterlink.session import Session

    current = library.current_setup()
    begun = library.recall(f"{STORED}:{current.id}") == stored.setup.id
    if args.here or args.report or begun:
        return Session(library)
    name = free_name(library, f"{stored.setup.name} again")
    copy = library.copy_setup(stored.setup.id, name)
    library.use_setup(copy.id)
    library.remember(f"{STORED}:{copy.id}", stored.setup.id)
    return Session(library)


def _walk(args: argparse.Namespace, stored: Session, session: Session, tolerance: float | None) -> None:
    import asyncio

    from meterlink.cli.driving import drive
    from meterlink.cli.light import describe
    from meterlink.walk import Request

    stored_view = stored.view()
    print(f"{session.setup.name}: build it as it was")
    requests = []
    by_name = {one.name.casefold(): one for one in session.lights()}
    for state in stored_view.lights:
        light = by_name.get(state.light.name.casefold())
        if light is None or state.reading is None:
            continue
        print(f"  {describe(state.light, state.placement)}")
        r = state.reading
        requests.append(Request(light.id, point=light.point, aim=r.aim, receptor=r.receptor, held_off_m=r.held_off_m))
    print()
    session.begin(requests)
    turned: set[str] = set()

    def after(outcome: Outcome) -> str:
        return _after_pop(outcome, session, stored_view, tolerance, turned)

    asyncio.run(drive(session, args.sensor, after=after))


def _after_pop(
    outcome: Outcome, session: Session, stored: SetView, tolerance: float | None, turned: set[str]
) -> str:
    """Say how a light compares; the first time it is off, take the advice as done and wait for it once more."""
    from meterlink.setwork.match import match_report

    if outcome.kind != "logged" or outcome.light is None:
        return ""
    report = match_report(stored, session.view(), tolerance)
    row = next((one for one in report.rows if one.light.casefold() == outcome.light.name.casefold()), None)
    if row is None or row.difference_stops is None:
        return ""
    move = row.move
    if row.within or move is None or outcome.light.id in turned:
        return row.sentence
    if move.power_stops is None and move.distance_m is None:
        return row.sentence
    turned.add(outcome.light.id)
    changes: dict[str, object] = {}
    if move.power_stops is not None:
        changes |= {"power_stops": move.power_stops, "power_text": move.power_text}
    if move.distance_m is not None:
        changes["distance_m"] = move.distance_m
    session.move(outcome.light, **changes)
    session.again(outcome.light.id)
    return f"{row.sentence}; do that, then fire it once more"


def print_report(stored: Session, session: Session, report: MatchReport) -> None:
    """Print what matches and what does not."""
    from meterlink import units

    print(f"\n{session.setup.name} against {stored.setup.name}")
    rows = []
    for row in report.rows:
        difference = "–" if row.difference_stops is None else units.format_stops(row.difference_stops, 2)
        u95 = "" if row.u95_stops is None else f"±{row.u95_stops:.1f}"
        rows.append((row.light, difference, u95, "matches" if row.within else "open", row.sentence))
    print_rows(("light", "off by", "", "", "what to do"), rows, right="lrlll")
    if report.camera:
        print(report.camera)
    if report.done:
        print("done: every light is within its tolerance")
