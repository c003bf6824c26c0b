"""Wait for one pop per light, in the order given, and log each: no key press in between.

examples:
  meterlink meter KEY FILL HAIR              one pop each, in this order
  meterlink meter KEY@20cm FILL@5cm          the dome was held so far in front of the face
  meterlink meter LAMP --steady              continuous or modelling light, an LED; once read so, without the word too
  meterlink meter                            whatever has no valid reading
  meterlink meter --pending KEY@20cm         the same, and how far the dome is held off for one of them
  meterlink meter --held-as-before           the same, the dome held off as in each light's last reading
  meterlink meter --all                      every light of the set-up in its order
  meterlink meter --all --any                fire them in any order: each pop tells whose it is
  meterlink meter KEY --pops 3               three pops, averaged
  meterlink meter --room on                  room light, nothing fires; modelling lamps burn (or: off)
  meterlink meter --together@0cm             all lights at once, for the sum check; the dome touched the face

While it waits, type (then Enter):  u take back the last    s skip this light    r NAME give the last to NAME    q stop
20cm: the dome was held so far off for the last pop (before the first: for the one that is waited for); r NAME@5cm says both.
Without @distance the held-off distance is not assumed to be zero: 0 to 6 cm toward the light go into the uncertainty.
Without a sensor:  --sensor sim:  fires each light of your set as it is placed, every 2.5 s (sim:?every=1 is faster).
Flashing light can trouble photosensitive people: warn everyone in the room; keep eyes away from bare tubes.
"""

from __future__ import annotations

import argparse
import asyncio
from collections.abc import Sequence
from typing import Any

from meterlink import units
from meterlink.cli.completing import LIGHTS
from meterlink.cli.driving import drive
from meterlink.cli.frame import RECEPTOR, SENSOR, SETUP, open_set, option
from meterlink.cli.ratios import print_ratios
from meterlink.errors import UsageError
from meterlink.metering.session import Outcome, Session
from meterlink.metering.walk import Request
from meterlink.records import Kind, Light, Purpose
from meterlink.records.kept import TOWARD
from meterlink.words.actions import Do
from meterlink.words.language import marked
from meterlink.words.told import put

TOGETHER, TOGETHER_HELD = "--together", "--together-held"


def written_out(arguments: Sequence[str]) -> list[str]:
    """Return the arguments with ``--together@0cm`` taken apart: argparse knows no distance behind an option's name."""
    words: list[str] = []
    for word in arguments:
        name, at, held = word.partition("@")
        words += [TOGETHER, f"{TOGETHER_HELD}={held}"] if name == TOGETHER and at else [word]
    return words


OPTIONS = (
    option("lights", nargs="*", metavar="LIGHT[@20cm]", help="lights in the order they are fired", offers=LIGHTS),
    option("--all", action="store_true", help="every light of the set-up in its order"),
    option("--pending", action="store_true", help="only lights without a valid reading (so does no light at all)"),
    option("--any", action="store_true", help="fire them in any order: each pop tells whose it is"),
    option("--held-as-before", action="store_true", help="the dome is held off as in each light's last reading"),
    option("--resume", action="store_true", help="go on where the last walk stopped"),
    option("--pops", type=int, default=1, metavar="N", help="pops per light, averaged (1 to 20)"),
    option(
        "--held-off-toward", default="light", metavar="WHERE",
        help="what the dome was held off toward: light (default), camera, up, down, left, right",
    ),
    option("--point", metavar="NAME", help="where the dome is (default: the light's own point)"),
    option("--aim", choices=("light", "camera"), help="what the dome looks at"),
    RECEPTOR,
    option(
        "--steady", action=argparse.BooleanOptionalAction,
        help="continuous light instead of a pop (default: as the light was read before)",
    ),
    option(
        "--room", nargs="?", const="either", choices=("either", "on", "off"), metavar="on|off",
        help="room light: nothing fires; on or off: the modelling lamps",
    ),
    option("--lamps", choices=("on", "off"), help="with --room: whether the modelling lamps burn"),
    option(
        "--together", action="store_true", help="all these lights (default: all on the face) at once; --together@0cm: dome touching"
    ),
    option(TOGETHER_HELD, dest="together_held", metavar="L", help=argparse.SUPPRESS),
    SENSOR,
    option("--record", metavar="FILE", help="also write what comes over the link to FILE"),
    SETUP,
)  # fmt: skip


def run(args: argparse.Namespace) -> None:
    """Walk through the lights."""
    with open_set(args, Session) as session:
        if args.resume:
            if not session.resume():
                raise UsageError("there is no walk to go on with: {do}, or --pending", do=Do("meter_lights"))
        else:
            session.begin(requests(args, session), any_order=args.any)
        asyncio.run(drive(session, args.sensor, record_to=args.record, after=durations))
        if not args.room:
            print()
            print_ratios(session, calibration_known=True)


def durations(outcome: Outcome) -> str:
    """How long the flash was, for the line below the reading; empty when it is not known."""
    reading = outcome.reading
    if reading is None or reading.kind != Kind.FLASH or not reading.t01_s:
        return ""
    text = marked("t0.1 {t01:duration}, t0.5 {t05:duration}" if reading.t05_s else "t0.1 {t01:duration}")
    return put(text, t01=reading.t01_s, t05=reading.t05_s)


def requests(args: argparse.Namespace, session: Session) -> list[Request]:
    """Return what is to be metered, checked before anything is opened."""
    if not 1 <= args.pops <= 20:
        raise UsageError("--pops {pops}: give 1 to 20", pops=args.pops)
    if args.held_off_toward not in TOWARD and "," not in args.held_off_toward:
        raise UsageError(
            "--held-off-toward '{held_off_toward}': give {toward} or x,y,z in metres",
            held_off_toward=args.held_off_toward[:20], toward=', '.join(TOWARD),
        )
    how: dict[str, Any] = {
        "receptor": args.receptor or session.settings.default_receptor,
        "held_off_toward": args.held_off_toward,
    }
    if args.room in ("on", "off"):
        args.lamps = args.lamps or args.room
    if args.any and (args.steady or args.room or args.together or args.pops > 1):
        raise UsageError("--any takes one pop of each light: leave --steady, --room, --together and --pops out")
    if args.lamps and not args.room:
        raise UsageError("--lamps belongs to --room: {do}", do=Do("meter_room_lamps"))
    if args.room:
        note = f"lamps {args.lamps}" if args.lamps else ""
        return [
            Request(None, Purpose.ROOM, Kind.STEADY, point=args.point or "face", aim=args.aim or "camera", note=note, **how)
        ]
    if args.together:
        return [_together(args, session, how)]
    how |= {"aim": args.aim or session.settings.default_aim, "pops": args.pops}
    return [
        session.request(light, point=args.point or light.point, held_off_m=held, kind=_kind(args, session, (light.id,)), **how)
        for light, held in _chosen(args, session)
    ]


def _kind(args: argparse.Namespace, session: Session, light_ids: Sequence[str]) -> Kind:
    """Steady light where that is said; where nothing is said, of lights (a reflector: its source) that were only read so."""
    steady = args.steady
    if steady is None and not args.any:
        ids = {session.by_id[one].source_light_id or one for one in light_ids}
        steady = {r.kind for r in session.known.records.readings if r.light_id in ids} == {Kind.STEADY}
    return Kind.STEADY if steady else Kind.FLASH


def _chosen(args: argparse.Namespace, session: Session) -> list[tuple[Light, float | None]]:
    """Lights with their declared held-off distances."""
    named = [session.named_light(text) for text in args.lights]
    if args.all and args.lights:
        raise UsageError("give either lights by name or --all, not both; --pending takes distances: --pending KEY@20cm")
    if args.all or args.pending or not named:
        wanted = session.lights() if args.all else session.pending()
        if not session.lights():
            raise UsageError("{setup}: no lights yet: {do}", setup=session.setup.name, do=Do("add_light"))
        if not wanted:
            raise UsageError("nothing to meter: every light has a valid reading; --all meters them again")
        distances = {light.id: held for light, held in named}
        named = [(light, distances.get(light.id)) for light in wanted]
    if args.held_as_before:
        named = [(light, held if held is not None else session.held_before(light)) for light, held in named]
    return named


def _together(args: argparse.Namespace, session: Session, how: dict[str, Any]) -> Request:
    lit = [session.light(name) for name in args.lights]
    if args.together_held is not None:
        how["held_off_m"] = units.parse_held_length(args.together_held)
    request = session.request_together(lit, aim=args.aim or "camera", point=args.point or "face", pops=args.pops, **how)
    return request._replace(kind=_kind(args, session, request.lit))
