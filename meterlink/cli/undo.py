"""Take the last reading back; its light is waited for again.  A distance that was said after it is taken back first, alone.

examples:
  meterlink undo
  meterlink undo --setup "Low key, two strips"
"""

from __future__ import annotations

import argparse

from meterlink.cli.frame import SETUP_BY_NAME, open_set, out
from meterlink.cli.held import value_now
from meterlink.judging.judged_set import JudgedSet, value_of
from meterlink.metering.session import Session
from meterlink.records import Purpose, Reading
from meterlink.words.actions import Do
from meterlink.words.language import say
from meterlink.words.sentences import value_text

OPTIONS = SETUP_BY_NAME


def run(args: argparse.Namespace) -> None:
    """Void the last reading."""
    with open_set(args, Session) as session:
        session.resume()
        view = session.view()
        last = session.undo()
        if session.restored:
            print(f"{session.restored}{value_now(session, last.light_id)}")
            return
        if last.purpose == Purpose.ROOM:
            out("taken back: the room light; read it again: {do}", do=Do("meter_room"))
            return
        after = session.view()
        now = after.state(last.light_id)
        who, do = say("the whole set"), Do("meter_together")
        if now is not None:
            who, do = now.light.name, Do("meter", light=now.light.name)
        if now is not None and now.reading is not None:
            out("taken back: {light} {value}; it has what it read before: {earlier}",
                light=who, value=_value(view, last), earlier=_value(after, now.reading))  # fmt: skip
        else:
            out("taken back: {light} {value}; meter it again: {do}", light=who, value=_value(view, last), do=do)
        had = {one.light.id: one.reading for one in view.lights}
        for one in after.lights:
            if one.light.id != last.light_id and one.reading is not None and one.reading != had.get(one.light.id):
                out("{light} has its pop again: {value}", light=one.light.name, value=_value(after, one.reading))


def _value(view: JudgedSet, reading: Reading) -> str:
    return value_text(view, value_of(reading) or 0.0, reading)
