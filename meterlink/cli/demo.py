"""The whole job on a recorded set of five lights, no hardware needed: readings, corrections, ratios, what to do.

examples:
  meterlink demo            as fast as it goes
  meterlink demo --pace     in the time that it took on set

The recording was made by the real firmware on a simulated chip and runs through the same reader, library and tables as
a sensor of your own.  It goes into a fresh set-up of a library of its own, apart from your sets; the last lines say where
that is and how to go on with it.  With --library FILE or METERLINK_LIBRARY it goes into that library, and becomes the set-up
in use only where none was.
"""

from __future__ import annotations

import argparse
import os
import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

from meterlink import demo
from meterlink.cli.frame import open_library, option, out
from meterlink.cli.light import print_lights
from meterlink.cli.ratios import print_ratios
from meterlink.cli.setup import camera_line
from meterlink.library.store import ENVIRONMENT, default_path
from meterlink.metering.session import Outcome, Session
from meterlink.shared_files import shared_path
from meterlink.words.language import marked, say
from meterlink.words.told import put

FILE_NAME = "demo.sqlite"
"""Beside the photographer's own library."""
OPTIONS = (option("--pace", action="store_true", help="play in real time"),)


def run(args: argparse.Namespace) -> None:
    """Play the demo and print the table."""
    import asyncio

    named = bool(args.library or os.environ.get(ENVIRONMENT))
    if not named:
        args.library = str(Path(default_path()).with_name(FILE_NAME))
    with open_library(args) as library:
        data = demo.script()
        session = demo.build(library, data, time.time, use=not named or library.setup_in_use() is None)
        out("SIMULATED: a recording of the real firmware on a simulated chip, no light was measured\n")
        print(camera_line(session.setup))
        print_lights(library, session.setup)
        asyncio.run(_play(session, data["steps"], pace=args.pace))
        print()
        print_ratios(session)
        print()
        for line in what_to_see(session):
            print(line)
        used = library.setup_in_use() == session.setup.id
        if not named:
            out("The demo lives in a library of its own: {library}", library=library.path)
        elif not used:
            stays = library.current_setup().name
            print(say("{setup} stays the set-up in use; the demo is {demo}.", setup=stays, demo=session.setup.name))
        out("Go on with:")
        for rest in ("checks", "targets CARD=-2 BACKDROP=-3", "wave KEY HAIR", "sheet"):
            print(f"  {command(args)} {rest}" + ("" if used else f" --setup {quoted(session.setup.name)}"))


def command(args: argparse.Namespace) -> str:
    """How this program was called, so that what is printed can be typed: its path where it is not on the PATH."""
    called = Path(sys.argv[0])
    name = "meterlink" if called.name != "meterlink" or shutil.which("meterlink") else str(called)
    return f"{name} --library {quoted(args.library)}" if args.library else name


def quoted(word: str) -> str:
    """A word as the system's shell takes it for one."""
    return subprocess.list2cmdline([word]) if sys.platform == "win32" else shlex.quote(word)


async def _play(session: Session, steps: list[dict[str, object]], *, pace: bool) -> None:
    from meterlink.cli.driving import Screen
    from meterlink.metering.driver import Metering

    screen = Screen(session)
    player = demo.Player(session, steps, lambda text: screen.say(f"\n{text}"))

    def on_outcome(outcome: Outcome) -> None:
        screen.outcome(outcome)
        if outcome.kind == "logged" and session.walk.done:
            player.next_walk()

    player.next_walk()
    recording = f"file:{shared_path(*demo.RECORDING)}" + ("" if pace else "?speed=max")
    metering = Metering(session, recording, on_outcome=on_outcome, on_waiting=screen.wait_for if pace else None)
    try:
        await metering.open()
        await metering.walked()
    finally:
        screen.end()
        await metering.close()


def what_to_see(session: Session) -> list[str]:
    """What a photographer should see in this table and do now, from the table itself."""
    table = session.ratios()
    lines = [say("What to see here:")]
    for row in table.rows:
        if row.held_off_m and row.correction_stops and abs(row.correction_stops) >= 0.1:
            text = marked(
                "  {light} was read {held:length} off its point: without the correction the picture would be {off:stops_word} too "
                "dark; plain inverse square would have said {square:stops2} instead of {off:stops2}."
            )
            if row.correction_stops > 0:
                text = marked(
                    "  {light} was read {held:length} off its point: without the correction the picture would be {off:stops_word} "
                    "too light; plain inverse square would have said {square:stops2} instead of {off:stops2}."
                )
            square = row.inverse_square_stops or 0.0
            lines.append(put(text, light=row.light, held=row.held_off_m, off=row.correction_stops, square=square))
        if row.held_off_m is None and row.verdict is not None and not row.stale:
            lines.append(say("  {light} was read without saying how far off: {reason}.", light=row.light, reason=row.reason))
        if row.verdict == "retake":
            lines.append(say("  {light} has to be metered again: {reason}.", light=row.light, reason=row.reason))
    if table.aperture_key and session.setup.shutter_s:
        nominal, setup = table.aperture_key.nominal, session.setup
        text = marked("Now set the camera to {aperture:figure}, {iso:iso}, {shutter:shutter}.")
        lines.append(put(text, aperture=nominal, iso=setup.iso, shutter=setup.shutter_s))
    return lines
