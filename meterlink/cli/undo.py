"""Take the last reading back; its light is waited for again.

examples:
  meterlink undo
  meterlink undo --setup "Low key, two strips"
"""

from __future__ import annotations

import argparse

from meterlink.cli.frame import add_setup_option, open_set
from meterlink.metering.session import Session
from meterlink.words.actions import Do
from meterlink.words.language import say
from meterlink.words.sentences import value_text


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add_setup_option(parser)


def run(args: argparse.Namespace) -> int:
    """Void the last reading."""
    session = open_set(args, Session)
    with session.library:
        session.resume()
        view = session.view()
        last = session.undo()
        light = next((one.name for one in session.lights() if one.id == last.light_id), "")
        value = last.exposure_lxs if last.kind == "flash" else last.illuminance_lx
        do = Do("meter", light=light) if light else Do("meter_together")
        text = value_text(view, value or 0.0, last)
        print(say("taken back: {light} {value}; meter it again: {do}", light=light or say("the whole set"), value=text, do=do))
    return 0
