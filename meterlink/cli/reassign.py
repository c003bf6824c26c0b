"""Give the last reading to another light: the pop was that light's.

examples:
  meterlink reassign HAIR
  meterlink reassign HAIR@30cm        and the dome was held off so far
"""

from __future__ import annotations

import argparse

from meterlink.cli.completing import LIGHTS
from meterlink.cli.frame import SETUP, open_set, option
from meterlink.metering.session import Session
from meterlink.words.actions import Do
from meterlink.words.language import say
from meterlink.words.told import told

OPTIONS = (
    option("light", metavar="LIGHT[@20cm]", help="the light that the pop belongs to", offers=LIGHTS),
    SETUP,
)


def run(args: argparse.Namespace) -> None:
    """Re-assign."""
    with open_set(args, Session) as session:
        session.resume()
        light, held_off_m = session.named_light(args.light)
        _, loser = session.reassign(light.name)
        if held_off_m is not None:
            session.held(held_off_m, light.id)
        state = session.view().state(light.id)
        said = say("{light} has the last reading now", light=light.name)
        if state is not None and state.judged is not None:
            said += f" ({told(state.judged.verdict.value)}: {state.judged.reason})"
        if loser is not None:
            do = Do("meter", light=loser.name)
            said += "; " + say("{light} waits for its own pop: {do}", light=loser.name, do=do)
        print(said)
