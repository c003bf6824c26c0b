"""Two front ends, driven by the same script: the terminal's own driving, and the app's desk without a window."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from meterlink.cli.driving import drive
from meterlink.cli.main import build_parser
from meterlink.cli.meter import requests
from meterlink.errors import MeterlinkError
from meterlink.library.store import Library
from meterlink.metering.outcome import Outcome
from meterlink.metering.rebuild import Rebuild, rebuild_of, session_of
from meterlink.metering.session import Session
from meterlink.records import Kind, Light, Placement, Setup, new_id
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from mobile.desk import Desk
from mobile.sensor_desk import SensorDesk

GAP_S = 2.0
LEVELS = {"KEY": 600.0, "FILL": 200.0, "HAIR": 320.0}


class Even:
    """No noise: the two front ends hear the very same light."""

    def random(self) -> float:
        """The middle."""
        return 0.5

    def gauss(self, mean: float, _spread: float) -> float:
        """The mean."""
        return mean

    def randrange(self, low: int, _high: int | None = None) -> int:
        """A place in the middle of a block; the lowest bit."""
        return 200 if low == 1 else 0


class Front:
    """What a script can do; the two front ends say how."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.link = SimulatedLink(ChipModel(noise_codes=0.0), clock=asyncio.get_running_loop().time)
        self.link.chip._random = self.link._random = Even()  # type: ignore[assignment]
        self.told: list[Outcome] = []

    async def fire(self, exposure_lxs: float, gap_s: float = GAP_S, *, fall_s: float | None = None) -> None:
        """A flash at the dome, after a while."""
        await self.listening()
        await asyncio.sleep(gap_s)
        pulse = Pulse(exposure_lxs) if fall_s is None else Pulse(exposure_lxs, fall_s=fall_s)
        self.link.pop(pulse)
        await asyncio.sleep(0.3)

    async def fire_damaged(self, exposure_lxs: float) -> None:
        """A flash whose data comes broken."""
        await self.listening()
        await asyncio.sleep(GAP_S)
        self.link.pop_damaged(Pulse(exposure_lxs))
        await asyncio.sleep(4.0)

    async def wait(self, seconds: float) -> None:
        """Nothing happens for a while."""
        await self.listening()
        await asyncio.sleep(seconds)

    def move(self, name: str, **changes: Any) -> None:
        """A light is moved or turned."""
        with Library.open(self.path) as library:
            session = Session(library)
            session.move(session.light(name), **changes)

    async def listening(self) -> None:
        """Be ready for the next pop."""
        raise NotImplementedError


class Terminal(Front):
    """``meterlink meter`` and ``meterlink match``, in this process, with lines typed."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.interactive = False
        self._typed: asyncio.Queue[str | None] = asyncio.Queue()
        self._walk: asyncio.Task[int] | None = None
        self.library = Library.open(path)

    async def next(self) -> str | None:
        """A typed line."""
        return await self._typed.get()

    async def _drive(self, session: Session) -> None:
        await self._end()
        self._typed = asyncio.Queue()

        def after(outcome: Outcome) -> str:
            self.told.append(outcome)
            return "\n".join(session.after(outcome)) if isinstance(session, Rebuild) else ""

        self._walk = asyncio.ensure_future(drive(session, "sim:", after=after, lines=self, link=self.link))
        await asyncio.sleep(1.0)

    async def _end(self) -> None:
        walk, self._walk = self._walk, None
        if walk is not None:
            walk.cancel()
            with contextlib.suppress(asyncio.CancelledError, MeterlinkError):
                await walk

    def _arguments(self, *words: str) -> argparse.Namespace:
        return build_parser("meter").parse_args(list(words))

    async def meter(self, *names: str) -> None:
        """Wait for these lights (``KEY@20cm``), or for whatever is missing."""
        session = Session(self.library)
        session.begin(requests(self._arguments(*names), session))
        await self._drive(session)

    async def any_order(self) -> None:
        """Wait for whatever is missing, in any order."""
        session = Session(self.library)
        session.begin(requests(self._arguments("--any"), session), any_order=True)
        await self._drive(session)

    async def steady(self, name: str) -> None:
        """Take a light's steady light."""
        session = Session(self.library)
        session.begin(requests(self._arguments(name, "--steady"), session))
        await self._drive(session)
        await asyncio.sleep(2.0)

    async def together(self) -> None:
        """Wait for all at once."""
        session = Session(self.library)
        session.begin(requests(self._arguments("--together"), session))
        await self._drive(session)

    async def match(self, name: str) -> None:
        """Build a stored set again."""
        rebuild = rebuild_of(self.library, Session(self.library, name))
        if not rebuild.resume():
            rebuild.begin_rebuild()
        await self._drive(rebuild)

    async def steady_if_waited(self) -> None:
        """The terminal takes it by itself."""
        await self.listening()
        await asyncio.sleep(2.5)

    async def listening(self) -> None:
        """Go on with a walk that was left; a walk that is over stays over, and its sensor is put away."""
        if self._walk is None or self._walk.done():
            session = session_of(self.library)
            if session.walk.waiting is not None:
                await self._drive(session)

    async def type(self, line: str) -> None:
        """Type a line while the walk waits; afterwards there are verbs for it."""
        if self._walk is not None and not self._walk.done():
            self._typed.put_nowait(line)
            await asyncio.sleep(0.5)
            return
        session = session_of(self.library)
        if line == "u":
            session.undo()
        elif line.startswith("r "):
            session.reassign(line[2:])
        else:
            session.held(float(line.removesuffix("cm")) / 100)

    async def undo(self) -> None:
        """Take back."""
        await self.type("u")

    async def skip(self) -> None:
        """Leave out."""
        await self.type("s")

    async def give(self, name: str) -> None:
        """Give the last reading to another light."""
        await self.type(f"r {name}")

    async def held(self, held_off_cm: int) -> None:
        """Say the distance of the last pop."""
        await self.type(f"{held_off_cm}cm")

    async def lose(self) -> None:
        """Pull the cable and put it back."""
        await self.listening()
        self.link.unplug()
        await asyncio.sleep(0.5)
        await self._end()
        self.link.plug()

    async def restart(self) -> None:
        """Killed and started again."""
        await self._end()
        self.library.close()
        self.library = Library.open(self.path)

    async def close(self) -> None:
        """End."""
        await self._end()
        self.library.close()


class Phone(Front):
    """The app's desk and sensor, without a window."""

    async def begin(self) -> None:
        """Start the app."""
        self.library = Library.open(self.path)
        self.desk = Desk(self.library)
        self.sensors = SensorDesk(
            self.library,
            session=lambda: self.desk.session,
            take=self.desk.take,
            on_outcome=self.told.append,
            on_level=lambda _level: None,
            on_change=lambda: None,
            make_link=lambda _url: self.link,
            finders=(),
        )
        await self.sensors.connect("sim:?every=0")
        await asyncio.sleep(1.0)
        await self.sensors.prepare()

    async def _after(self) -> None:
        await self.sensors.prepare()
        await asyncio.sleep(0.5)

    def _id(self, name: str) -> str:
        return next(one.id for one in self.desk.shot.lights if one.name == name)

    async def meter(self, *names: str) -> None:
        """Tap a light, after its distance was said, or begin with whatever is missing."""
        if not names:
            self.desk.begin()
        for i, text in enumerate(names):
            name, _, held = text.partition("@")
            if held:
                self.desk.hold_off(self._id(name), float(held.removesuffix("cm")) / 100)
            if i == 0:
                self.desk.wait_for(self._id(name))
        await self._after()

    async def any_order(self) -> None:
        """Begin with whatever is missing, as the setting says."""
        self.desk.remember(free_order=True)
        self.desk.begin()
        await self._after()

    async def steady(self, name: str) -> None:
        """Take a light's steady light."""
        self.desk.wait_for(self._id(name), kind=Kind.STEADY)
        await self._after()
        await self.sensors.take_steady()

    async def together(self) -> None:
        """Wait for all at once."""
        self.desk.wait_for_all()
        await self._after()

    async def match(self, name: str) -> None:
        """Build a stored set again."""
        self.desk.match_to(self.library.setup(name).id)
        await self._after()

    async def steady_if_waited(self) -> None:
        """Tap for it."""
        await self.listening()
        await self.sensors.take_steady()
        await asyncio.sleep(0.5)

    async def listening(self) -> None:
        """What was changed elsewhere is seen."""
        await self.sensors.prepare()

    async def undo(self) -> None:
        """Take back."""
        self.desk.undo()
        await self._after()

    async def skip(self) -> None:
        """Leave out."""
        self.desk.skip()
        await self._after()

    async def give(self, name: str) -> None:
        """Give the last reading to another light."""
        self.desk.give_to(name)
        await self._after()

    async def held(self, held_off_cm: int) -> None:
        """Say the distance of the last pop."""
        assert self.desk.session is not None
        light_id = self.desk.session.held_for()
        if light_id is None:
            self.desk.session.held(held_off_cm / 100)
        else:
            self.desk.hold_off(light_id, held_off_cm / 100)
        await self._after()

    async def lose(self) -> None:
        """Pull the cable and put it back."""
        self.link.unplug()
        await asyncio.sleep(0.5)
        self.link.plug()
        assert self.sensors.sensor is not None
        await self.sensors.sensor.start()
        await asyncio.sleep(1.0)
        await self.sensors.prepare()

    async def restart(self) -> None:
        """Killed and started again."""
        await self.close()
        await self.begin()

    async def close(self) -> None:
        """End."""
        await self.sensors.close()
        self.library.close()


Script = Callable[[Any], Awaitable[None]]


def make_set(path: Path) -> None:
    """A set of a key, a fill, a hair light and a card fed by the key; nothing is metered."""
    with Library.open(path) as library:
        setup = Setup(new_id(), "Bowls", 0.0, iso=100.0, shutter_s=1 / 128)
        library.add_setup(setup)
        library.use_setup(setup.id)
        session = Session(library)
        for order, (name, role, point, azimuth) in enumerate(
            (("KEY", "key", "face", 40.0), ("FILL", "fill", "face", -50.0), ("HAIR", "hair", "hair", 170.0))
        ):
            light = Light(new_id(), setup.id, name, role, point, order)
            place = Placement(
                new_id(), light.id, 0.0, "disk", 0.6, None, 1.2, 0.02, azimuth, 10.0, power_text="1/4", power_stops=-2.0
            )
            session.add_light(light, place)


def add_card(path: Path) -> None:
    """A card fed by the key."""
    with Library.open(path) as library:
        session = Session(library)
        card = Light(new_id(), session.setup.id, "CARD", "fill", order=9, source_light_id=session.light("KEY").id)
        session.add_light(card, Placement(new_id(), card.id, 0.0, "rectangle", 0.8, 1.2, 0.8, 0.02, -60.0, 0.0))


def records(path: Path) -> dict[str, Any]:
    """Everything that a library holds, ids and times replaced by their order."""
    with Library.open(path) as library:
        return {setup.name: _of_setup(library, setup) for setup in library.setups()}


def _of_setup(library: Library, setup: Setup) -> dict[str, Any]:
    lights = {one.id: one.name for one in library.lights(setup.id)}
    places = {p.id: (lights[i], n) for i in lights for n, p in enumerate(library.placements(i))}
    readings = library.all_readings(setup.id)
    order = {r.id: n for n, r in enumerate(readings)}
    void = library.voids(setup.id)
    effective = {r.id for r in library.readings(setup.id)}
    walk = Session(library, setup.id)
    walk.resume()
    return {
        "lights": [one._replace(id="", setup_id="", source_light_id=None) for one in library.lights(setup.id)],
        "placements": [
            (lights[i], p._replace(id="", light_id="", created_at_s=0.0)) for i in lights for p in library.placements(i)
        ],
        "readings": [
            (
                lights.get(r.light_id or ""),
                places.get(r.placement_id or ""),
                order.get(r.supersedes_id or ""),
                r.id in void,
                r.id in effective,
                library.waveform(r.id, max(len(r.pops) - 1, 0)) is not None,
                r._replace(
                    id="", setup_id="", light_id=None, placement_id=None, calibration_id="", taken_at_s=0.0,
                    supersedes_id=None, lit=tuple(sorted(lights[i] for i in r.lit)),
                ),
            )
            for r in readings
        ],
        "in_use": library.current_setup().id == setup.id,
        "waiting": [
            (lights.get(r.light_id or ""), r.purpose, r.kind, r.held_off_m)
            for i, r in enumerate(walk.walk.requests)
            if i not in walk.walk.served
        ],
    }
