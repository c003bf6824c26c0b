"""Measure how a light with its modifier really falls off, from readings at three or more distances.

examples:
  meterlink falloff KEY --at 0.8m 1.2m 1.8m      one pop at each distance, dome on the axis, in this order
  meterlink falloff KEY --at 2ft 4ft 7ft --sensor sim:
  meterlink falloff KEY --picture falloff.png    the stored fit again, also as a picture (.png or .svg)

The fit (inverse square with a shifted origin, or a finite disk, whichever the readings support better) is stored under
the light's modifier name and used for its corrections from then on, in other set-ups too.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from meterlink import units
from meterlink.cli.completing import LIGHTS
from meterlink.cli.frame import JSON, SENSOR, SETUP, open_set, option, out, print_json
from meterlink.errors import AnalysisError, NotInLibrary, UsageError
from meterlink.judging.falloff_runs import FalloffRun, falloff_from, falloff_lines
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.photometry.falloff import FalloffFit
from meterlink.records import Light, Reading
from meterlink.records.kept import FALLOFF
from meterlink.report.plots import falloff_drawing
from meterlink.words.actions import Do
from meterlink.words.language import marked
from meterlink.words.told import put

OPTIONS = (
    option("light", offers=LIGHTS),
    option("--at", nargs="+", metavar="DISTANCE", help="distances of the light, dome stays or light stays"),
    SENSOR,
    option("--picture", metavar="FILE", help="write the plot as .png or .svg"),
    SETUP,
    JSON,
)


def run(args: argparse.Namespace) -> None:
    """Measure, fit, show and store; without distances show what is stored."""
    with open_set(args, Session) as session:
        light = session.light(args.light)
        fit = _measure(args, session, light) if args.at else _stored(session, light)
        if args.json:
            print_json(fit.to_record())
        else:
            _show(fit, light)
        if args.picture:
            falloff_drawing(fit, light.modifier or light.name).write(args.picture)
            if not args.json:
                out("picture: {file}", file=args.picture)


def _stored(session: Session, light: Light) -> FalloffFit:
    fit = session.library.falloff(light.modifier)
    if fit is None:
        raise NotInLibrary("{light}: no falloff was measured: {do}", light=light.name, do=Do("falloff", light=light.name))
    return fit


def _measure(args: argparse.Namespace, session: Session, light: Light) -> FalloffFit:
    if not light.modifier:
        raise UsageError("{light}: name its modifier first: {do}", light=light.name, do=Do("name_modifier", light=light.name))
    distances = [units.parse_distance(text) for text in args.at]
    if len(distances) < 3 or len(set(distances)) < 3:
        raise UsageError("give three different distances or more, e.g. --at 0.8m 1.2m 1.8m")
    placement = session.placement(light.id)
    if placement is None:
        raise UsageError("{light} is not placed yet: {do}", light=light.name, do=Do("give_distance", light=light.name))
    readings = _walk(args, session, light, distances)
    runs = [
        FalloffRun(placement._replace(distance_m=distance, u_distance_m=None), reading)
        for distance, reading in zip(distances, readings, strict=True)
    ]
    try:
        fit = falloff_from(runs, session.settings)
    except ValueError as error:
        raise AnalysisError("{light}: {error}", light=light.name, error=error) from error
    session.library.add_note("falloff", light.modifier, fit.to_record())
    return fit


def _walk(args: argparse.Namespace, session: Session, light: Light, distances: Sequence[float]) -> list[Reading]:
    """One pop at each distance, with the sensor opened once; each is its own walk, since the light stands elsewhere."""
    from asyncio import run

    from meterlink.cli.driving import drive

    taken: dict[int, Reading] = {}
    awaited = 0

    def place() -> str:
        """Wait for the next distance's pop; return what is to be done before it."""
        nonlocal awaited
        awaited = next(i for i in range(len(distances)) if i not in taken)
        session.begin([Request(light.id, point=f"{FALLOFF} {distances[awaited]:g}", held_off_m=0.0)])
        text = marked("put {light} at {distance:length} from the dome, dome on its axis toward it")
        return put(text, light=light.name, distance=distances[awaited])

    def after(outcome: Outcome) -> str:
        if outcome.kind != OutcomeKind.LOGGED or outcome.reading is None:
            return ""
        taken[awaited] = outcome.reading
        kept = {one.id for one in session.library.readings(session.setup.id)}
        for undone in [i for i, reading in taken.items() if reading.id not in kept]:
            del taken[undone]
        return place() if len(taken) < len(distances) else ""

    print(f"\n{place()}")
    run(drive(session, args.sensor, after=after))
    if len(taken) < len(distances):
        raise AnalysisError("the walk was stopped: a falloff needs all its distances")
    return [taken[i] for i in range(len(distances))]


def _show(fit: FalloffFit, light: Light) -> None:
    print(f"\n{light.modifier or light.name}")
    for line in falloff_lines(fit):
        print(line)
