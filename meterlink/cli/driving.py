"""A walk through the lights at a terminal: says what it waits for, prints what came, listens to the keyboard."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from collections.abc import Callable
from pathlib import Path

from meterlink import units
from meterlink.calibration.chosen import in_use, reminders
from meterlink.cli.held import value_now
from meterlink.cli.keys import Lines
from meterlink.cli.terminal import BELL, BOLD, DIM, PLAIN, LiveLine
from meterlink.errors import MeterlinkError, UsageError
from meterlink.library.store import Library
from meterlink.metering.calibrating import Typed
from meterlink.metering.driver import Metering
from meterlink.metering.nearness import Nearness, Ticker
from meterlink.metering.outcome import NOTED, Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.metering.waiting import waiting, waiting_for_any
from meterlink.metering.walk import Request
from meterlink.records import Calibration, Identity, Light, Measurement
from meterlink.sensor.find import find_first, remembered
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.registry import parse
from meterlink.sensor.measuring.tended import LOOKING, READY, STOPPED, SensorState
from meterlink.words.language import say, say_count
from meterlink.words.sentences import level
from meterlink.words.told import Told, put, told


def named(outcome: Outcome) -> Told:
    """What became of a pop, with its light where only the measurement speaks: lines of several lights stand below each other."""
    bare = outcome.kind == OutcomeKind.AGAIN and outcome.code in NOTED and outcome.said.code in ("note", "refused_twice")
    return told("light_says", light=outcome.light.name, what=outcome.said) if bare and outcome.light else outcome.said


class Screen:
    """What the walk prints: one line a fact, a live line below them on a terminal."""

    def __init__(self, session: Session, after: Callable[[Outcome], str] | None = None) -> None:
        self.session = session
        self.after = after
        """Called with every outcome; may move the walk and returns what else is to be said."""
        self.live = LiveLine()
        self.simulated = False
        self.used: Calibration | None = None
        """What readings are made with, once it is known."""
        self.shown: Request | None = None
        """What stands there as waited for."""
        self._told_before = False
        self._nearness = Nearness(session)
        self._ticker = Ticker()
        self._free: list[Request] = []
        """What the next pop may belong to."""
        self._level = ""

    def say(self, text: str, *, strong: bool = False) -> None:
        """Print a line above the live one."""
        self.live.clear()
        print(f"{BOLD}{text}{PLAIN}" if strong and self.live.on else text, flush=True)
        self._draw()

    def wait_for(self, request: Request | None) -> None:
        """Say which light is waited for, once."""
        if request is None or request is self.shown:
            return
        order = self.session.order()
        if order is not None and not self._told_before:
            self._told_before = True
            for one in order.said():
                self.say(f"  {one}")
        self.shown = request
        free = self._free = self.session.may_come()
        self.say(str(waiting_for_any(self.session, free) if len(free) > 1 else waiting(self.session, request)), strong=True)

    def calibration(self, used: Calibration, identity: Identity | None) -> None:
        """Say which calibration the readings are made with, and what is to be known of it; a simulated sensor is as designed."""
        self.used = used
        self.say(str(in_use(used)))
        if identity is None or self.simulated:
            return
        for words in reminders(used, identity, self.session.now(), angle=False):
            self.say(f"! {words}")

    def forget(self) -> None:
        """Say again what is waited for (after a step back)."""
        self.shown = None

    def level(self, m: Measurement) -> None:
        """Show the live light."""
        if self.live.on and m.illuminance_lx is not None:
            near = self._nearness.of(m, self._free) if m.held_off_m is not None or m.held_off_unknown else None
            self._level = str(level(max(m.illuminance_lx, 0.0), self.used, m.range_index))
            self._level += f"  {near.sentence}" if near is not None else ""
            if self._ticker.due(near, m.at_s):
                # Quickens on the way in, and once more when the dome is within reach and still: nobody need look.
                print(BELL, end="", flush=True)
            self._draw()

    def _draw(self) -> None:
        self.live.show(self._level, DIM)

    def outcome(self, outcome: Outcome) -> None:
        """Print what became of a pop."""
        if outcome.message:
            logged = outcome.kind == OutcomeKind.LOGGED
            self.say(("  " if logged else "! ") + str(named(outcome)), strong=logged)
            if logged and outcome.waiting is self.shown and outcome.numbers.get("pop") == outcome.numbers.get("pops"):
                self.forget()  # whole, and the same light waits: it is to be taken again
        for warning in outcome.warnings:
            self.say(f"! {warning}")
        more = self.after(outcome) if self.after is not None else ""
        for line in more.splitlines():
            self.say(f"  {line}")

    def unseen(self, closer: bool) -> None:
        """Say that no pop came for a while, and what follows."""
        self.say(f"  {told('unseen_closer' if closer else 'unseen')}")

    def state(self, state: SensorState) -> None:
        """Print a change of the sensor's state."""
        if state.name == STOPPED:
            return
        if state.name != LOOKING or self.live.on:
            self.say(state.words if state.name in (LOOKING, READY) else f"! {state.words}")

    def end(self) -> None:
        """Leave the terminal clean."""
        self.live.clear()


async def sensor_url(library: Library, url: str | None, tell: Callable[[str], None]) -> str:
    """The sensor named on the command line, by METERLINK_SENSOR, or used last where its port is there; else one that is found.

    Raises MeterlinkError that says what to do.
    """
    last = remembered(library)
    known = url or os.environ.get("METERLINK_SENSOR") or (last.url if last is not None else None)
    if known is not None and (url or _is_there(known)):
        return known
    if known is not None:
        # It has another port today, or is another one.
        tell(say("the sensor used last is not on {url}", url=known))
    tell(say("looking for a sensor ..."))
    return await find_first(library)


async def drive(
    session: Session,
    url: str | None,
    *,
    record_to: str | None = None,
    after: Callable[[Outcome], str] | None = None,
    lines: Typed | None = None,
    link: Link | None = None,
) -> None:
    """Walk to the end.  ``after`` is called with every outcome and says what else is to be said."""
    screen = Screen(session, after)
    chosen = await sensor_url(session.library, url, screen.say)
    screen.simulated = parse(chosen).scheme == "sim"
    metering = Metering(
        session,
        chosen,
        on_outcome=screen.outcome,
        on_waiting=screen.wait_for,
        on_calibration=lambda used: screen.calibration(used, metering.sensor.identity),
        on_unseen=screen.unseen,
        on_state=screen.state,
        on_level=screen.level,
        record_to=record_to,
        link=link,
    )
    typed = lines or Lines(files=False)
    keyboard = Keyboard(session, metering, screen, typed)
    listening = None
    try:
        await metering.open()
        await metering.ready()
        listening = asyncio.ensure_future(keyboard.listen())
        await metering.walked(keyboard.lit)
    finally:
        if listening is not None:
            listening.cancel()
            await asyncio.gather(listening, return_exceptions=True)
        if isinstance(typed, Lines):
            typed.stop()
        with contextlib.suppress(OSError):
            screen.end()
        await metering.close()
    if metering.sensor.damaged_frames:
        count = metering.sensor.damaged_frames
        said = say_count("{count} damaged frame dropped, none believed", "{count} damaged frames dropped, none believed", count)
        print(say("note: {note}", note=said), file=sys.stderr)


def _is_there(url: str) -> bool:
    """Say whether the port of a remembered sensor still exists; what cannot be told without opening it counts as there."""
    parts = parse(url)
    return parts.scheme != "serial" or not parts.target.startswith("/") or Path(parts.target).exists()


class Keyboard:
    """Obeys the lines that are typed while the walk waits."""

    def __init__(self, session: Session, metering: Metering, screen: Screen, lines: Typed) -> None:
        self.session, self.metering, self.screen, self.lines = session, metering, screen, lines
        self._entered = asyncio.Event()

    async def listen(self) -> None:
        """Obey every line; when no more will come, pops alone drive the walk."""
        while (line := await self.lines.next()) is not None:
            self._entered.set()
            self.metering.tell(self.obey, line)

    async def lit(self) -> None:
        """Wait until the next steady light burns alone."""
        if self.lines.interactive:
            self.screen.say(say("press Enter when it is lit alone"))
            self._entered.clear()
            await self._entered.wait()

    def obey(self, line: str) -> None:
        """Obey one line; what is wrong with it is said."""
        try:
            self._do(line, *line.split(maxsplit=1))
        except MeterlinkError as error:
            self.screen.say(f"! {error}")

    def _do(self, line: str, command: str = "", name: str = "") -> None:
        if not command:
            self.metering.listen_closer_soon()
            return
        if command == "q":
            self.metering.stop()
            return
        if command[0].isdigit() or command[0] in ".,":
            self._held(line)
            return
        if command == "u":
            last = self.session.undo()
            if self.session.restored:
                self.screen.say(f"  {self.session.restored}{value_now(self.session, last.light_id)}")
            else:
                self.screen.say("  " + say("taken back: {light}", light=self._name(last.light_id, say("the last"))))
        elif command == "s":
            left_out = self.session.skip(self.screen.shown)
            name = self._name(left_out.light_id if left_out is not None else None, str(told("all_lights")))
            self.screen.say("  " + say("skipped: {light}", light=name))
        elif command == "r" and name:
            light, held_off_m = self.session.named_light(name)
            _, loser = self.session.reassign(light.name)
            waits = "; " + say("{light} waits for its own pop", light=loser.name) if loser else ""
            self.screen.say("  " + say("given to {light}", light=light.name) + waits)
            if held_off_m is not None:
                self._say_held(self.session.held(held_off_m, light.id), held_off_m)
        else:
            raise UsageError(
                "type u (take back), s (skip), r NAME (give the last to NAME), 20cm (held off so far) or q (stop), then Enter"
            )
        self.screen.forget()
        self.metering.prepare_soon()

    def _held(self, line: str) -> None:
        """A distance belongs to the last pop, or to the one that is waited for when none came yet."""
        held_off_m = units.parse_held_length(line)
        self._say_held(self.session.held(held_off_m), held_off_m)
        self.metering.prepare_soon()

    def _say_held(self, light: Light | None, held_off_m: float) -> None:
        """Say what a light reads now that its distance is known."""
        held = put("held off {length:length}", length=held_off_m)
        name, now = (light.name, value_now(self.session, light.id)) if light is not None else (say("all lights"), "")
        self.screen.say(f"  {name}: {held}{now}")
        if self.session.disagreement:
            self.screen.say(f"! {self.session.disagreement}")

    def _name(self, light_id: str | None, otherwise: str) -> str:
        return next((one.name for one in self.session.lights() if one.id == light_id), otherwise)
