"""What to change so that the lights give what you want: f-numbers, stops from the key or ratios.

examples:
  meterlink targets KEY=f/8 FILL=-1 HAIR=-2 BACKGROUND=-0.7
  meterlink targets FILL=3:1                          key to fill, each alone (incident)
  meterlink targets FILL=3:1 --highlight-to-shadow    (key + fill) to fill
  meterlink targets KEY=f/11 --by distance
  meterlink targets FILL=-1 HAIR=-2 --keep            remembered with the set-up
  meterlink targets --set                             the lights are set as it was told last: record it

Of a fill 3:1 and 1:3 are one wish: the key is the stronger; what was understood is said.  Set the lights as told, say so with
--set, and meter every light once.  Ask again, and what is told then is the last correction: set it and say so, no further pop
is needed; the table shows what is to be expected, marked.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from meterlink.cli.frame import JSON, SETUP, open_set, option, print_json, print_rows
from meterlink.errors import UsageError
from meterlink.metering.as_told import remember_told, set_as_told, set_what_was_told
from meterlink.metering.session import Session
from meterlink.records import Setup
from meterlink.tables.targets import HIGHLIGHT_TO_SHADOW, INCIDENT, Wish, as_meant, parse_wish, plan
from meterlink.words.actions import Do
from meterlink.words.language import say
from meterlink.words.shared import known

OPTIONS = (
    option("wish", nargs="*", metavar="LIGHT=TARGET", help="f/8, -1 (stops from the key) or 3:1"),
    option("--by", choices=("both", "power", "distance"), default="both", help="what may be changed"),
    option("--set", action="store_true", dest="made", help="the lights are set as told: record it"),
    option("--keep", action="store_true", help="remember the wishes with the set-up: the app shows them as bands"),
    option("--highlight-to-shadow", action="store_true", help="ratios mean (key + fill) to fill"),
    SETUP,
    JSON,
)


def run(args: argparse.Namespace) -> int:
    """Print the changes; exit code 1 when a wish cannot be met."""
    definition = HIGHLIGHT_TO_SHADOW if args.highlight_to_shadow else INCIDENT
    if not args.wish and not args.made:
        raise UsageError("say what is wanted, e.g. {do}", do=Do("targets"))
    wishes = [parse_wish(text, definition) for text in args.wish]
    with open_set(args, Session) as session:
        if not wishes:
            changed = set_what_was_told(session)
            if args.json:
                print_json({"set": changed, "to_meter": [light.name for light in session.pending()]})
            else:
                print(f"{', '.join(changed)}: {_afterwards(session)}")
            return 0
        # With the history of the heads: what their dials really deliver, how long and of what colour they flash.
        view = session.view()
        result = plan(view, wishes, by=args.by)
        if args.keep:
            session.library.revise_setup(kept(session.setup, as_meant(view, wishes)))
        if args.made:
            set_as_told(session, result)
        else:
            remember_told(session, result)
        if args.json:
            print_json(result)
            return 0 if result.feasible else 1
        rows = [
            (row.light, known(row.change_stops, "stops"), known(row.predicted_stops, "stops2"), str(row.sentence))
            for row in result.rows
        ]
        print_rows(("light", "change", "off afterwards", "what to do"), rows, right="lrrl")
        for note in result.notes:
            print(say("note: {note}", note=note))
        if not result.feasible:
            print(say("not everything can be reached: what is shown is the nearest"))
        if args.made:
            print(_afterwards(session))
        elif any(not row.move.empty for row in result.rows):
            print(say("when that is set: {do}", do=Do("targets_set")))
    return 0 if result.feasible else 1


def _afterwards(session: Session) -> str:
    """What is left to do once the changes are recorded."""
    pending = tuple(light.name for light in session.pending())
    if pending:
        return say("recorded; still to be metered: {do}", do=Do("meter_lights", lights=pending))
    return say("recorded; nothing has to be metered")


def kept(setup: Setup, wishes: Sequence[Wish]) -> Setup:
    """Return the set-up with the wishes in stops from the key among its details; f-numbers belong to a day, not to a set."""
    stops = {wish.light: wish.from_key_stops for wish in wishes if wish.from_key_stops is not None}
    old = setup.details.get("targets")
    targets = {**(old if isinstance(old, dict) else {}), **stops}
    return setup._replace(details={**setup.details, "targets": targets}) if targets else setup
