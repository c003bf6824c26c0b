"""A sensor on its link, whatever it measures: greeted, asked and watched, its loss and its return told once and in words."""

from __future__ import annotations

import asyncio
from abc import ABC, abstractmethod
from collections.abc import Awaitable, Callable, Coroutine
from enum import StrEnum
from typing import Any, NamedTuple

from meterlink.errors import LinkError, SensorError
from meterlink.records import Identity, Status
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.messages import DIALECT, GET_STATUS, STEADY_RATE
from meterlink.sensor.link.base import Link, LinkState
from meterlink.sensor.measuring.commands import Commands
from meterlink.sensor.measuring.intake import Intake
from meterlink.words.actions import Do
from meterlink.words.told import Told, told


class State(StrEnum):
    """What a sensor is doing."""

    LOOKING = "looking"
    READY = "ready"
    SILENT = "silent"
    """A link, but no sensor of ours answers, or it stopped sending."""
    LOST = "lost"
    STOPPED = "stopped"


LOOKING, READY, SILENT, LOST, STOPPED = State

GREET_WAITS_S = (0.3, 0.5, 0.7, 1.0, 1.5, 2.0)
"""Between one IDENTIFY and the next: many boards restart when their port is opened and hear nothing for two seconds."""
STEADY_RATE_HZ = 10
REFERENCE_S = 60.0
"""One pop in six thousand falls into the 10 ms that it costs."""
SILENCE_S = 4.0
"""Our sensor sends ten times a second: after so long without a byte something is wrong with it."""


class SensorState(NamedTuple):
    """What a person should know about the sensor; each is told once."""

    name: State
    said: Told
    at_s: float = 0.0
    """Monotonic time of the host."""
    identity: Identity | None = None
    error: LinkError | None = None

    @property
    def words(self) -> str:
        """What there is to say, in the language in use."""
        return str(self.said)


OnState = Callable[[SensorState], None]


class TendedSensor(ABC):
    """The connection's side of a sensor.  Who inherits takes the bytes and knows the settings to be said again."""

    def __init__(
        self,
        link: Link,
        decoder: Decoder,
        intake: Intake,
        on_state: OnState | None,
        clock: Callable[[], float],
        sleep: Callable[[float], Awaitable[None]],
    ) -> None:
        self.link = link
        self.decoder = decoder
        self.state = SensorState(STOPPED, told("not_started"))
        self.on_state = on_state
        self.deaf = False
        """Whether what is said to it goes nowhere: a recording is played."""
        self.intake = intake
        """What is known of the sensor itself: battery, range finder, pops on their way."""
        self._commands = Commands()
        self._clock = clock
        self._sleep = sleep
        self._tasks: set[asyncio.Task[Any]] = set()
        self._kept: dict[Callable[[], Coroutine[Any, Any, None]], asyncio.Task[None]] = {}
        """Work of which there is one a connection."""
        self._greeted = asyncio.Event()
        self._heard = False
        """Whether bytes have come since the watcher looked last."""

    @abstractmethod
    def _on_bytes(self, data: bytes, at_s: float, channel: str) -> None:
        """Take what has come."""

    @abstractmethod
    async def _set_again(self) -> None:
        """Say range and interval to a sensor that has started anew."""

    async def start(self) -> None:
        """Open the link and begin to look for the sensor behind it.  Raises LinkError: the link cannot be opened."""
        self._tell(LOOKING, told("looking", url=self.link.url))
        if hasattr(self.link, "on_state"):
            self.link.on_state = self._on_link_state
            await self.link.open(self._on_bytes, self._on_lost)
        else:
            await self.link.open(self._on_bytes, self._on_lost)
            self._connected()

    async def stop(self) -> None:
        """Close the link.  A pop whose block had not come yet is told as incomplete."""
        tasks = list(self._tasks)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await self.link.close()
        self.intake.tell_missing(self.intake.pops.give_up())
        self._tell(STOPPED, told("disconnected"))

    async def identified(self, timeout_s: float = 6.0) -> Identity:
        """Wait until the sensor has said who it is.  Raises SensorError: nothing that we know answers on this link."""
        if not await self._within(self._greeted, timeout_s) or self.identity is None:
            lost = self.state.name == LOST
            raise SensorError("{what}", what=self.state.said if lost else self._unanswered())
        return self.identity

    @property
    def identity(self) -> Identity | None:
        """Who the sensor is; None until it has said so."""
        return self.intake.identity

    @property
    def status(self) -> Status | None:
        """The last that it said about itself."""
        return self.intake.status

    def _connected(self) -> None:
        self.decoder.reset()
        self._greeted.clear()
        self._spawn(self._greet())
        self._keep_polling()

    async def _greet(self) -> None:
        for wait_s in GREET_WAITS_S:
            await self._write(self.decoder.identify())
            if await self._within(self._greeted, wait_s):
                return
        self._tell(SILENT, self._unanswered())

    def _unanswered(self) -> Told:
        return told("nothing_answers", url=self.link.url, do=Do("sensors_try"))

    async def _settle_in(self) -> None:
        """Say again what a sensor forgets when it starts anew."""
        await self._command(STEADY_RATE, STEADY_RATE_HZ)
        await self._set_again()
        await self._command(GET_STATUS)
        self._keep(self._follow_reference)

    async def _follow_reference(self) -> None:
        """Ask again now and then where the converter measures against the supply.  The sensor sees nothing for some 10 ms
        meanwhile."""
        while True:
            await self._sleep(REFERENCE_S)
            status = self.intake.status
            if status is None or not status.reference_by_design_raw:
                return
            if self.intake.pops.waiting is None:
                await self._command(GET_STATUS)

    async def _watch_silence(self) -> None:
        """A sensor that sent and stops sending is told of, once, and asked again; when it is back that is told too."""
        quiet = False
        while True:
            self._heard = False
            await self._sleep(SILENCE_S)
            if self._heard == quiet:
                quiet = not self._heard
                who = self.intake.identity.name if self.intake.identity else told("the_sensor")
                self._tell(*((SILENT, told("silent", sensor=who)) if quiet else (READY, told("sends_again", sensor=who))))
            if quiet:
                await self._write(self.decoder.identify() + self.decoder.command(STEADY_RATE, STEADY_RATE_HZ))

    def _keep_polling(self) -> None:
        # A Bluetooth sensor's dialect, and so whether it is to be polled, is known only after a while.
        if self.decoder.poll_s > 0:
            self._keep(self._poll)

    def _keep(self, work: Callable[[], Coroutine[Any, Any, None]]) -> None:
        """Begin this where it is not under way: of two watchers the second would take the first one's greeting for silence."""
        if work not in self._kept or self._kept[work].done():
            self._kept[work] = self._spawn(work())

    async def _poll(self) -> None:
        while True:
            await self._write(self.decoder.poll())
            await self._sleep(self.decoder.poll_s)

    async def _command(self, command: int, value: int | None = None) -> None:
        """Say what the sensor is to answer."""
        data = self.decoder.command(command, value)
        if data and not self.deaf:
            self._commands.said(command)
        await self._write(data)

    async def _write(self, data: bytes) -> None:
        if not data:
            return
        try:
            await self.link.write(data)
        except LinkError:
            # The loss itself comes through on_lost or the link's state; it must not be told twice.
            pass

    async def _within(self, event: asyncio.Event, timeout_s: float) -> bool:
        if event.is_set():
            return True
        waiting = asyncio.ensure_future(event.wait())
        pause = asyncio.ensure_future(self._sleep(timeout_s))
        try:
            done, _ = await asyncio.wait((waiting, pause), return_when=asyncio.FIRST_COMPLETED)
        finally:
            waiting.cancel()
            pause.cancel()
        # A recording played at once may have said who it is and ended before this gets its turn.
        return waiting in done or event.is_set()

    def _on_link_state(self, state: LinkState) -> None:
        if state.name == "connected":
            self._connected()
        elif state.name == "waiting":
            self._disconnected()
            self._tell(LOST, told("note", note=state.words), state.error)

    def _on_lost(self, error: LinkError) -> None:
        self._disconnected()
        self._tell(LOST, told("note", note=str(error)), error)

    def _disconnected(self) -> None:
        for task in self._tasks:
            task.cancel()
        self._kept.clear()
        self._greeted.clear()
        self._commands.forget()
        self.intake.tell_missing(self.intake.pops.give_up())

    def _spawn(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    def _greet_back(self, identity: Identity | None) -> None:
        # A sensor that never says who it is gets the name of its link.
        who = identity or Identity(self.link.url, "light sensor", self.decoder.dialect)
        self.intake.meet(who)
        if self._greeted.is_set():
            return
        self._greeted.set()
        self._commands.under_way(self._spawn(self._settle_in()))
        self._keep_polling()
        if self.decoder.dialect == DIALECT:
            # Only our own sensor is known to speak all the time; others may have nothing to say for minutes.
            self._keep(self._watch_silence)
        sees = "connected_flash" if who.flash else "connected_steady"
        self._tell(READY, told(sees, sensor=who.name, id=who.sensor_id))

    def _say(self, said: Told) -> None:
        self._tell(self.state.name, said)

    def _tell(self, name: State, said: Told, error: LinkError | None = None) -> None:
        if (name, said) == self.state[:2]:
            return
        self.state = SensorState(name, said, self._clock(), self.identity, error)
        if self.on_state is not None:
            self.on_state(self.state)
