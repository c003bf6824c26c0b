"""The same twelve days at the app's desk, without a window: what is touched is counted, what is waited for is fired.

Time is simulated (``VirtualLoop``), so the days take no time and say nothing of seconds.  The desk has no room light: that
step is left out.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchmarks.onset_days import Day, Slip, Step
from benchmarks.onset_scene import Scene
from benchmarks.onset_terminal import BETWEEN_POPS_S, GIVES_UP, Counts, judged
from meterlink import units
from meterlink.library.store import Library
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Kind, Purpose
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.tables.targets import parse_wish, plan
from meterlink.testing import VirtualLoop
from mobile.desk import Desk
from mobile.sensor_desk import SensorDesk

SEEN_S = 0.4
"""Record, wire and what the app does with them."""
UNSEEN_S = 10.0


class Touching:
    """One day with the phone in one hand."""

    url = "sim:?every=0"

    def __init__(self, day: Day, folder: Path, **making: Any) -> None:
        """``making`` says how the sensor's link is made; without it there is the model's."""
        self.day, self.scene = day, Scene(day.lights)
        self.link: Any = SimulatedLink(ChipModel(seed=len(day.name)), clock=asyncio.get_running_loop().time)
        """What sees the flashes."""
        self.library = Library.open(folder / f"desk-{abs(hash(day.name))}.sqlite")
        start_s = time.time()
        loop = asyncio.get_running_loop()
        self.desk = Desk(self.library, now=lambda: start_s + loop.time())
        self.told: list[Outcome] = []
        self.sensors = SensorDesk(
            self.library, session=lambda: self.desk.session, take=self.desk.take, on_outcome=self.told.append,
            on_level=lambda _level: None, on_change=lambda: None, finders=(), **(making or {"make_link": lambda _url: self.link}),
        )  # fmt: skip
        self.pops = self.taps = self.questions = 0

    async def live(self) -> Counts:
        """Go through the day."""
        self._describe()
        await self._connect()
        for step in self.day.steps:
            await self._step(step)
        await self.sensors.close()
        session = self.desk.session
        assert session is not None
        rows = [row._asdict() for row in session.ratios().rows]
        alarms = {f.light for f in session.checks() if f.rank != "note"}
        self.desk.close()
        self.library.close()
        needed = sum(step.needs for step in self.day.steps)
        lights = sum(step.lights for step in self.day.steps)
        return Counts(self.pops, needed, self.taps, lights, self.questions, (), judged(self.day, self.scene, rows, alarms))

    async def _connect(self) -> None:
        await self.sensors.connect(self.url)
        for _ in range(10):
            await asyncio.sleep(1.0)
            if self.sensors.status.ready:
                return

    def _describe(self, name: str = "Day") -> None:
        self.desk.new_set(name)
        self.desk.revise_setup(iso=100.0, shutter_s=1 / 160)
        ids: dict[str, str] = {}
        for one in self.scene.lights.values():
            size: dict[str, Any] = {"shape": "disk", "width_m": one.width_m}
            power: dict[str, Any] = {"power_text": f"{one.dial_stops:.1f}", "power_stops": one.dial_stops}
            if one.source:
                size, power = {"shape": "rectangle", "width_m": 1.0, "height_m": 1.0}, {}
            light = self.desk.add_light(
                one.name, one.role, source_id=ids.get(one.source), distance_m=one.distance_m,
                azimuth_deg=one.azimuth_deg, elevation_deg=one.elevation_deg, **size, **power,
            )  # fmt: skip
            ids[one.name] = light.id
            if not one.source:
                self.desk.change_light(light.id, fixture=one.name)

    def _id(self, name: str) -> str:
        return next(one.id for one in self.desk.shot.lights if one.name == name)

    async def _step(self, step: Step) -> None:
        for name, stops in step.turns.items():
            self.scene.lights[name] = self.scene.lights[name].turned(stops)
        for name, metres in step.moves.items():
            self.scene.lights[name] = self.scene.lights[name].moved(metres)
        verb, *rest = step.words
        if verb == "meter" and "--room" in rest:
            return
        if verb == "meter":
            self.taps += step.lights > 0
            self.desk.wait_for_all() if "--together" in rest else self.desk.begin()
            await self._walk(step)
        elif verb == "match":
            self.taps += 2  # its page, and the set
            self.desk.match_to(self.library.setup(rest[0]).id)
            await self._walk(step)
        elif verb == "light":
            self._move(rest[1], rest[2], rest[3])
        elif verb == "targets":
            self._follow(rest[0])

    def _move(self, name: str, option: str, value: str) -> None:
        if option == "--power":
            self.desk.move_light(self._id(name), power_text=value, power_stops=units.parse_power(value))
        else:
            self.desk.move_light(self._id(name), distance_m=units.parse_distance(value))

    def _follow(self, wish: str) -> None:
        """Turn the dial as the table of targets says, and say so."""
        session = self.desk.session
        assert session is not None
        for row in plan(session.view(), [parse_wish(wish)]).rows:
            if row.move.power_stops is not None:
                one = self.scene.lights[row.light]
                self.scene.lights[row.light] = one.turned(row.move.power_stops - one.dial_stops)
                self._move(row.light, "--power", f"{row.move.power_stops:.2f}")

    async def _prepared(self) -> Session:
        """The session, its sensor prepared for what is waited for."""
        await self.sensors.prepare()
        assert self.desk.session is not None
        return self.desk.session

    async def _waiting(self) -> tuple[Session, Request] | None:
        """The session and the pop that it waits for, with the sensor prepared; None when the walk waits for none."""
        session = await self._prepared()
        waiting = session.walk.waiting
        if waiting is None or not session.walk.listening or waiting.kind != Kind.FLASH:
            return None
        return session, waiting

    @staticmethod
    def _name(session: Session, request: Request) -> str:
        return next((one.name for one in session.lights() if one.id == request.light_id), "")

    def _advised(self, step: Step, name: str, *, again: bool) -> None:
        """She turns a light back as she was advised when it is waited for once more."""
        if again and name in step.turns:
            self.scene.lights[name] = self.scene.lights[name].turned(-step.turns[name])

    @staticmethod
    def _slip(slips: dict[str, Slip], name: str) -> Slip:
        """What happens at this pop; only the first one's data is damaged."""
        slip = slips.get(name, Slip())
        slips[name] = slip._replace(lost=False)
        return slip

    async def _walk(self, step: Step) -> None:
        slips, tries, served = dict(step.slips), 0, set[str]()
        before: object = None
        while (now := await self._waiting()) is not None:
            session, waiting = now
            name, position = self._name(session, waiting), session.walk.position
            self._advised(step, name, again=position != before and name in served)
            tries, before = (tries + 1 if position == before else 1), position
            if tries > GIVES_UP:
                return
            slip = self._slip(slips, name)
            outcome = await self._fire(self._pulse(name, waiting.purpose, slip), damaged=slip.lost)
            if outcome is not None and outcome.kind == OutcomeKind.LOGGED:
                served.add(name)
                await self._afterwards(name, slips.pop(name, Slip()))
                if step.quit_after == name:
                    session.begin([])
                    return

    async def _fire(self, pulse: Pulse, *, damaged: bool) -> Outcome | None:
        await asyncio.sleep(BETWEEN_POPS_S)
        self.pops += 1
        self.told.clear()
        self.link.pop_damaged(pulse) if damaged else self.link.pop(pulse)
        for _ in range(round(UNSEEN_S / SEEN_S)):
            await asyncio.sleep(SEEN_S)
            if self.told:
                self.questions += self.told[-1].kind == OutcomeKind.AGAIN
                return self.told[-1]
        return None

    async def _afterwards(self, name: str, slip: Slip) -> None:
        if slip.said_after:
            self.taps += 1  # the slider
            self.desk.hold_off(self._id(name), units.parse_length(slip.said_after))
        if slip.stray:
            await asyncio.sleep(0.1)
            self.link.pop(Pulse(50.0))
            await asyncio.sleep(SEEN_S)

    def _pulse(self, name: str, purpose: str, slip: Slip) -> Pulse:
        if purpose == Purpose.TOGETHER:
            return self.scene.together()
        if purpose in (Purpose.WITH, Purpose.WITHOUT):
            return self.scene.card(name, with_it=purpose == Purpose.WITH)
        return self.scene.alone(name, slip.held_m)


def lived(make: Callable[[], Touching], loop_factory: Callable[[], asyncio.AbstractEventLoop] = VirtualLoop) -> Counts:
    """Return what a day costs that is made on the running loop."""

    async def run() -> Counts:
        return await make().live()

    with asyncio.Runner(loop_factory=loop_factory) as runner, contextlib.suppress(asyncio.CancelledError):
        return runner.run(run())
    raise RuntimeError("the day was stopped")


def day_at_the_desk(day: Day, folder: Path) -> Counts:
    """Return what a day costs by touch."""
    return lived(lambda: Touching(day, folder))
