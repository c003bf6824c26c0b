"""Drives a session with a sensor: opens it by URL, hands its measurements over, chooses its range before each pop.

Lifecycle: ``await open()``; then every measurement becomes an ``Outcome`` through ``on_outcome``; ``await finished()``
returns when the walk is over, or raises when the sensor is gone for good; ``await close()``.  The command line and the app
use it alike; it prints nothing and asks nothing.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from meterlink.errors import LinkError, MeterlinkError, SensorError
from meterlink.metering.session import Outcome, Session
from meterlink.metering.walk import Request
from meterlink.metering.watch import KEEPS_NO_LINK_ALIVE, calibration_for, decoder_for, open_link
from meterlink.records import Identity, Measurement
from meterlink.sensor.find import keep
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.registry import parse
from meterlink.sensor.measuring.sensor import LOST, Sensor, SensorState
from meterlink.simulation.as_placed import pulse_of

UNSEEN_S = 8.0
"""She has fired once or twice by then."""
FAINT_LXS = 1e-3


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
        self._closer: asyncio.Task[None] | None = None
        self.on_note: Callable[[str], None] | None = None
        """Called with what is good to know while waiting."""
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
        self._tell_simulation(waiting)
        if waiting is None:
            self._over.set()
        else:
            self._over.clear()
            expected = self.session.expected_exposure_lxs()
            await self.sensor.choose_range(expected)
            if waiting.kind == "flash":
                self._listen_closer_later()
        if self.on_waiting is not None:
            self.on_waiting(waiting)

    def _listen_closer_later(self) -> None:
        """A pop too weak for the bright range is not even seen: after a while listen on the most sensitive one.

        The other way round costs a pop of every strong light, and a clipped pop at least is seen.
        """
        if self._closer is not None:
            self._closer.cancel()
        self._closer = asyncio.get_running_loop().create_task(self._listen_closer())
        self._tasks.add(self._closer)
        self._closer.add_done_callback(self._tasks.discard)

    async def _listen_closer(self) -> None:
        await asyncio.sleep(UNSEEN_S)
        identity = self.sensor.identity
        if identity is not None and self.sensor.range_index < len(identity.ranges) - 1:
            await self.sensor.choose_range(FAINT_LXS)
            if self.on_note is not None:
                self.on_note("no pop seen yet: now listening for weaker ones")

    def _tell_simulation(self, waiting: Request | None) -> None:
        """A simulated sensor has no photographer: it is told which light is waited for, and fires that one."""
        link = getattr(self.sensor.link, "link", self.sensor.link)
        if not hasattr(link, "expect"):
            return
        session = self.session
        if waiting is None:
            link.expect(None)
            return
        pulse = pulse_of(
            session.lights(),
            session.library.current_placements(session.setup.id),
            light_id=waiting.light_id,
            purpose=waiting.purpose,
            lit=waiting.lit,
            held_off_m=waiting.held_off_m,
            toward=waiting.held_off_toward,
            aim=waiting.aim,
        )
        link.expect(pulse)

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
        if self._closer is not None:
            self._closer.cancel()
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
