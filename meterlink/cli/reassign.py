"""Give the last reading to another light: the pop was that light's.

examples:
  meterlink reassign HAIR
"""

from __future__ import annotations

import argparse

from meterlink.cli.frame import add_setup_option, open_session


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("light", help="the light that the pop belongs to")
    add_setup_option(parser)


def run(args: argparse.Namespace) -> int:
    """Re-assign."""
    session = open_session(args)
    with session.library:
        session.resume()
        _, loser = session.reassign(args.light)
        light = session.light(args.light)
        state = session.view().state(light.id)
        said = f"{light.name} has the last reading now"
        if state is not None and state.judged is not None:
            said += f" ({state.judged.verdict}: {state.judged.reason})"
        if loser is not None:
            said += f"; {loser.name} waits for its own pop: meterlink meter {loser.name}"
        print(said)
    return 0
