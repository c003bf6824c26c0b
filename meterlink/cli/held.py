"""Say afterwards how far the dome was held off: no new pop, a new record with the distance supersedes.

examples:
  meterlink held KEY 20cm
  meterlink held KEY 0cm              it touched the point
  meterlink held KEY --not-given      take a distance back

It belongs to the light's readings where it stands now.  While metering, 20cm and Enter says the same of the last pop.
"""

from __future__ import annotations

import argparse

from meterlink import units
from meterlink.cli.completing import LIGHTS
from meterlink.cli.frame import SETUP, open_set, option
from meterlink.errors import NotInLibrary, UsageError
from meterlink.metering.session import Session
from meterlink.words.actions import Do
from meterlink.words.sentences import held_words, value_text
from meterlink.words.told import all_of, told

OPTIONS = (
    option("light", help="the light whose pop it was", offers=LIGHTS),
    option("distance", nargs="?", help="dome to the light's point, e.g. 20cm"),
    option("--not-given", action="store_true", help="the distance is not known after all"),
    SETUP,
)


def run(args: argparse.Namespace) -> None:
    """Supersede the light's readings by ones with the distance."""
    held_off_m = None if args.distance is None else units.parse_held_length(args.distance)
    with open_set(args, Session) as session:
        session.resume()
        light, at_m = session.named_light(args.light)  # KEY@20cm, as everywhere
        if [held_off_m is not None, at_m is not None, args.not_given].count(True) != 1:
            raise UsageError("say how far: {do}, or --not-given", do=Do("say_held"))
        held_off_m = at_m if held_off_m is None else held_off_m
        if not any(r.light_id == light.id for r in session.view().readings):
            raise NotInLibrary(
                "{light} has no reading that the distance could belong to: {do}",
                do=Do("meter", light=light.name), light=light.name,
            )
        session.held(held_off_m, light.id)
        said = held_words(session.view().state(light.id), held_off_m)
        print(f"{all_of(light.name, said, by=': ')}{value_now(session, light.id)}")


def value_now(session: Session, light_id: str | None) -> str:
    """What a light reads at its point as it is held off now, and what that is worth, behind a colon; empty without a reading."""
    view = session.view()
    state = view.state(light_id)
    if state is None or state.judged is None or state.reading is None:
        return ""
    value = value_text(view, state.value or 0.0, state.reading)
    return f": {value}, {told(state.judged.verdict.value)}: {state.judged.reason}"
