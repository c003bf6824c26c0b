"""Drives a session with a sensor: opens it by URL, hands its measurements over, chooses its range before each pop.

Lifecycle: ``await open()``; then every measurement becomes an ``Outcome`` through ``on_outcome``; ``await finished()``
returns when the walk is over, or raises when the sensor is gone for good; ``await close()``.  The command line and the app
use it alike; it prints nothing and asks nothing.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from meterlink.errors import LinkError, MeterlinkError, SensorError
from meterlink.link.base import Link
from meterlink.finding import keep
from meterlink.link.registry import parse
from meterlink.model import Identity, Measurement
from meterlink.sensing.sensor import LOST, Sensor, SensorState
from meterlink.session import Outcome, Session
from meterlink.walk import Request
from meterlink.watching import KEEPS_NO_LINK_ALIVE, calibration_for, decoder_for, open_link


class Metering:
    """One sensor at work for one session."""

    def __init__(
        self,
        session: Session,
        url: str,
        *,
        on_outcome: Callable[[Outcome], None],
        on_waiting: Callable[[Request | None], None] | None = None,
        on_state: Callable[[SensorState], None] | None = None,
        on_level: Callable[[Measurement], None] | None = None,
        record_to: str | None = None,
        link: Link | None = None,
    ) -> None:
        self.session = session
        self.url = url
        self.on_outcome = on_outcome
        self.on_waiting = on_waiting
        """Called when the sensor has been prepared for the request that is waited for now (None: the walk is over)."""
        self.on_state = on_state
        self._failed: MeterlinkError | None = None
        self._over = asyncio.Event()
        self._tasks: set[asyncio.Task[None]] = set()
        holder: list[Sensor] = []
        self.sensor = Sensor(
            link or open_link(url, holder, record_to),
            lambda identity: calibration_for(session.library, identity, session.now()),
            self._on_measurement,
            self._on_state,
            decoder=decoder_for(url),
            on_level=on_level,
        )
        holder.append(self.sensor)

    async def open(self) -> None:
        """Open the sensor.  Raises LinkError when it cannot be opened at all."""
        await self.sensor.start()

    async def close(self) -> None:
        """Close the sensor."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self.sensor.stop()

    async def ready(self) -> Identity:
        """Wait until the sensor has said who it is and prepare it for the first light.

        Raises SensorError when nothing known answers, or when it cannot see what is to be metered.
        """
        identity = await self.sensor.identified()
        waiting = self.session.walk.waiting
        if waiting is not None and waiting.kind == "flash" and not identity.flash:
            raise SensorError(
                f"{identity.name} sees steady light only and cannot meter a pop: use it for modelling or continuous light "
                "(meter LIGHT --steady), room light (meter --room) or evenness"
            )
        if parse(self.url).scheme not in KEEPS_NO_LINK_ALIVE:
            keep(self.session.library, self.url, identity)
        await self.prepare()
        return identity

    async def prepare(self) -> None:
        """Choose the range for what is waited for; call it again after an undo, a skip or a new walk."""
        waiting = self.session.walk.waiting
        if waiting is None:
            self._over.set()
        else:
            self._over.clear()
            await self.sensor.choose_range(self.session.expected_exposure_lxs())
        if self.on_waiting is not None:
            self.on_waiting(waiting)

    async def finished(self) -> None:
        """Return when the walk is over; raise what ended it before."""
        await self._over.wait()
        if self._failed is not None:
            raise self._failed

    async def take_steady(self, window_s: float = 1.0) -> Outcome:
        """Take steady light for the request that is waited for."""
        outcome = self.session.take(await self.sensor.take_steady(window_s))
        self._tell(outcome)
        return outcome

    def _on_measurement(self, measurement: Measurement) -> None:
        try:
            outcome = self.session.take(measurement)
        except MeterlinkError as error:
            # The disk is full or the library locked: the reading was not accepted and the light still waits.
            self._fail(error)
            return
        self._tell(outcome)

    def _tell(self, outcome: Outcome) -> None:
        self.on_outcome(outcome)
        if outcome.kind == "logged":
            # The callback may have begun another walk, so the session is asked, not the outcome.
            self.prepare_soon()

    def prepare_soon(self) -> None:
        """``prepare`` from a plain callback."""
        task = asyncio.get_running_loop().create_task(self.prepare())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def _on_state(self, state: SensorState) -> None:
        if self.on_state is not None:
            self.on_state(state)
        # A link that keeps itself alive says "lost" and comes back; any other is gone for good.
        final = parse(self.url).scheme in KEEPS_NO_LINK_ALIVE
        if state.name == LOST and final and not self.session.walk.done:
            self._fail(state.error or LinkError(state.words, self.url))

    def _fail(self, error: MeterlinkError) -> None:
        self._failed = error
        self._over.set()
