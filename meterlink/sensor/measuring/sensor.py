"""One sensor: a link and a decoder and a calibration tied together into a stream of measurements.

Lifecycle: ``await start()`` opens the link and asks who is there; from then on each pop comes as one ``Measurement``
through ``on_measurement``, steady light through ``on_level``, and every change of state, once and in words, through
``on_state``; ``await stop()`` ends it.  All callbacks come on the event loop's thread.

A pop that clips or is too small is delivered too, marked so, with the range already switched for the next one: whoever
logs readings stays at the same light and asks for one more pop.
"""

from __future__ import annotations

import asyncio
import math
import time
from collections.abc import Awaitable, Callable, Coroutine
from enum import StrEnum
from typing import Any, NamedTuple

from meterlink.errors import LinkError, SensorError
from meterlink.records import Battery, Calibration, HeldOff, Identity, Measurement, PopNotice, Status, Steady, WaveBlock
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.messages import DIALECT
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.link.base import Link, LinkState
from meterlink.sensor.measuring import levels, ranges
from meterlink.sensor.measuring.intake import CalibrationFor, Intake, Outlets
from meterlink.sensor.measuring.pops import BLOCK_WAIT_S
from meterlink.sensor.measuring.ranger import RangerScale


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
STEADY_PATIENCE_S = 3.0
SECOND_FLASH_S = 0.2
"""After a pop's block: by then the light itself has come where that pop was a pre-flash, 60 to 120 ms ahead (common practice, no
published source)."""
RECORD_T01 = 3.0
RECORD_PART = 0.8
"""The part of a record after its trigger should hold three times t0.1: an exponential tail is then below a thousandth."""


class SensorState(NamedTuple):
    """What a person should know about the sensor; each is told once."""

    name: State
    words: str
    at_s: float = 0.0
    """Monotonic time of the host."""
    identity: Identity | None = None
    error: LinkError | None = None


OnMeasurement = Callable[[Measurement], None]
OnState = Callable[[SensorState], None]


class Sensor:
    """Read a sensor over ``link``, any link; a ``ReconnectingLink`` tells its states and is greeted each time."""

    def __init__(
        self,
        link: Link,
        calibration_for: CalibrationFor | None = None,
        on_measurement: OnMeasurement | None = None,
        on_state: OnState | None = None,
        clock: Callable[[], float] = time.monotonic,
        *,
        decoder: Decoder | None = None,
        on_level: OnMeasurement | None = None,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self.link = link
        self.decoder = decoder or NativeDecoder()
        self.state = SensorState(STOPPED, "not started")
        self.on_measurement = on_measurement
        self.on_level = on_level
        self.on_state = on_state
        self._clock = clock
        self._sleep = sleep
        self._intake = Intake(link.url, calibration_for, Outlets(self._deliver, self._deliver_level, self._want_range, self._say))
        self._tasks: set[asyncio.Task[Any]] = set()
        self._polling: asyncio.Task[None] | None = None
        self._watching: asyncio.Task[None] | None = None
        self._following: asyncio.Task[None] | None = None
        self._wanted_range: int | None = None
        self._block_at_s = -math.inf
        self._interval_factor = 1
        self._restarts = 0
        self._greeted = asyncio.Event()
        self._heard = False
        self._collecting: list[Measurement] | None = None
        self._collected = asyncio.Event()
        self._window_s = 0.0

    # ------------------------------------------------------------------------------------------------ life

    async def start(self) -> None:
        """Open the link and begin to look for the sensor behind it.

        Raises:
            LinkError: the link cannot be opened.
        """
        self._tell(LOOKING, f"looking for the sensor on {self.link.url}")
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
        self._intake.tell_missing(self._intake.pops.give_up())
        self._tell(STOPPED, "disconnected")

    async def identified(self, timeout_s: float = 6.0) -> Identity:
        """Wait until the sensor has said who it is.

        Raises:
            SensorError: nothing that we know answers on this link.
        """
        if not await self._within(self._greeted, timeout_s) or self.identity is None:
            raise SensorError(self.state.words if self.state.name == LOST else _silent(self.link.url))
        return self.identity

    @property
    def identity(self) -> Identity | None:
        """Who the sensor is; None until it has said so."""
        return self._intake.identity

    @property
    def calibration(self) -> Calibration | None:
        """What its values are turned into light with; None until it has said who it is."""
        return self._intake.calibration

    @calibration.setter
    def calibration(self, calibration: Calibration) -> None:
        self._intake.recalibrate(calibration)

    @property
    def ranger_scale(self) -> RangerScale:
        """What its range finder's figures are turned into distances with."""
        return self._intake.ranger.scale

    @ranger_scale.setter
    def ranger_scale(self, scale: RangerScale) -> None:
        self._intake.ranger.scale = scale

    async def distances(self, window_s: float = 3.0) -> list[HeldOff]:
        """Return what the range finder says for so long, as it says it; empty for a sensor without one."""
        since = self._clock()
        await self._sleep(window_s)
        return self._intake.ranger.since(since)

    @property
    def battery(self) -> Battery | None:
        """The last that it said about its battery."""
        return self._intake.battery

    @property
    def status(self) -> Status | None:
        """The last that it said about itself."""
        return self._intake.status

    async def supply(self, timeout_s: float = 1.0) -> tuple[float, float] | None:
        """Wait until the sensor has told its state, so that its calibration is that of its supply now; return by how many
        stops that corrects
        every reading, with the standard uncertainty.  None for a sensor that does not measure against its supply, or tells no
        state."""
        until = self._clock() + timeout_s
        while self.status is None and self.decoder.dialect == DIALECT and self._clock() < until:
            await self._sleep(0.02)
        return self._intake.supply()

    @property
    def range_index(self) -> int:
        """The sensitivity range that it uses."""
        return self._intake.range_index

    @property
    def damaged_frames(self) -> int:
        """Frames that came damaged since the start; none of them was believed."""
        return self.decoder.stats.damaged_total

    # ---------------------------------------------------------------------------------------------- wishes

    async def choose_range(self, expected_exposure_lxs: float | None, pulse_s: float | None = None) -> None:
        """Set the range for the next pop from what it is expected to give (lx·s); None leaves the range as it is.

        ``pulse_s`` is the exposure over the peak of this head's last pop, where it is known.
        """
        calibration = self.calibration
        if expected_exposure_lxs is None or calibration is None or not expected_exposure_lxs > 0.0:
            return
        if pulse_s is not None:
            self._intake.pulse_s = pulse_s
        await self._use_range(ranges.for_exposure(expected_exposure_lxs, self._intake.pulse_s, calibration))

    async def listen_closest(self) -> None:
        """Use the most sensitive range: nothing is known of what comes, and only there is every pop seen."""
        calibration = self.calibration
        if calibration is not None and calibration.ranges:
            scales = calibration.ranges
            await self._use_range(min(range(len(scales)), key=lambda i: scales[i].full_scale_lx))

    async def fit_record(self, t01_s: float | None) -> None:
        """Sample so slowly that the record holds a pop of this t0.1 with its tail; None is the shortest interval."""
        identity = self.identity
        if identity is None or not identity.intervals or not identity.ring_samples:
            return
        needed_s = RECORD_T01 * (t01_s or 0.0)
        fitting = [s for s in identity.intervals if RECORD_PART * identity.ring_samples * s >= needed_s]
        await self._use_interval(min(fitting, default=max(identity.intervals)))

    async def sample_slower(self) -> bool:
        """Take the next longer sample interval; False when there is none."""
        identity = self.identity
        if identity is None or not identity.intervals:
            return False
        now_s = self._interval_factor * min(identity.intervals)
        longer = [s for s in identity.intervals if s > now_s * 1.01]
        if longer:
            await self._use_interval(min(longer))
        return bool(longer)

    async def _use_interval(self, interval_s: float) -> None:
        identity = self.identity
        assert identity is not None
        factor = round(interval_s / min(identity.intervals))
        if factor != self._interval_factor:
            self._interval_factor = factor
            await self._write(self.decoder.set_interval(factor))

    async def take_steady(self, window_s: float = 1.0) -> Measurement:
        """Return the mean of the steady light over ``window_s``, on the range that suits it.

        Raises:
            SensorError: no steady light comes from this sensor.
        """
        self._collecting, self._window_s = [], window_s
        self._collected.clear()
        self._intake.steady_sets_range = True
        try:
            await self._within(self._collected, window_s + STEADY_PATIENCE_S)
        finally:
            collected, self._collecting = self._collecting, None
            self._intake.steady_sets_range = False
        if not collected:
            raise SensorError("no steady light comes from this sensor: check that it is connected")
        return levels.mean_level(collected)

    async def _use_range(self, index: int) -> None:
        identity = self.identity
        if identity is None or len(identity.ranges) < 2 or not 0 <= index < len(identity.ranges):
            return
        if index != self._wanted_range or index != self.range_index:
            self._wanted_range = index
            # the flash that just came may have been a pre-flash: the light itself is to come on the same range
            since_s = self._clock() - self._block_at_s
            if 0.0 <= since_s < SECOND_FLASH_S and not self._intake.steady_sets_range:
                await self._sleep(SECOND_FLASH_S - since_s)
                if self._wanted_range != index:
                    return
            await self._write(self.decoder.set_range(index))

    # ------------------------------------------------------------------------------------------ connection

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
        self._tell(SILENT, _silent(self.link.url))

    async def _settle_in(self) -> None:
        """Say again what a sensor forgets when it starts anew."""
        await self._write(self.decoder.steady_rate(STEADY_RATE_HZ))
        if self._wanted_range is not None:
            await self._write(self.decoder.set_range(self._wanted_range))
        if self.identity is not None and self.identity.intervals:
            # Another program may have left another one.
            await self._write(self.decoder.set_interval(self._interval_factor))
        await self._write(self.decoder.get_status())
        if self._following is None or self._following.done():
            self._following = self._spawn(self._follow_reference())

    async def _follow_reference(self) -> None:
        """Ask again now and then where the converter measures against the supply.  The sensor sees nothing for some 10 ms
        meanwhile."""
        while True:
            await self._sleep(REFERENCE_S)
            status = self._intake.status
            if status is None or not status.reference_by_design_raw:
                return
            if self._intake.pops.waiting is None:
                await self._write(self.decoder.get_status())

    async def _watch_silence(self) -> None:
        """A sensor that sent and stops sending is told of, once, and asked again; when it is back that is told too."""
        quiet = False
        while True:
            self._heard = False
            await self._sleep(SILENCE_S)
            if self._heard == quiet:
                quiet = not self._heard
                who = self._intake.identity.name if self._intake.identity else "the sensor"
                if quiet:
                    self._tell(SILENT, f"{who} is connected and sends nothing: reset it, or check its battery")
                else:
                    self._tell(READY, f"{who} sends again")
            if quiet:
                await self._write(self.decoder.identify() + self.decoder.steady_rate(STEADY_RATE_HZ))

    def _keep_polling(self) -> None:
        # A Bluetooth sensor's dialect, and so whether it is to be polled, is known only after a while.
        if self.decoder.poll_s > 0 and (self._polling is None or self._polling.done()):
            self._polling = self._spawn(self._poll())

    def _keep_watching(self) -> None:
        # One watcher a connection: each greets the same bytes, and the second would take the first one's for silence.
        if self._watching is None or self._watching.done():
            self._watching = self._spawn(self._watch_silence())

    async def _poll(self) -> None:
        while True:
            await self._write(self.decoder.poll())
            await self._sleep(self.decoder.poll_s)

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
            self._tell(LOST, state.words, state.error)

    def _on_lost(self, error: LinkError) -> None:
        self._disconnected()
        self._tell(LOST, str(error), error)

    def _disconnected(self) -> None:
        for task in self._tasks:
            task.cancel()
        self._polling = self._watching = None
        self._greeted.clear()
        self._intake.tell_missing(self._intake.pops.give_up())

    def _spawn(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    # ----------------------------------------------------------------------------------------------- bytes

    def _on_bytes(self, data: bytes, at_s: float, channel: str) -> None:
        self._heard = True
        intake, decoder = self._intake, self.decoder
        stats, pops = decoder.stats, intake.pops
        damaged_before = stats.damaged_total
        samples = decoder.feed(data, at_s, channel)
        if len(samples) == 1 and type(samples[0]) is Steady and pops.waiting is None and intake.identity is not None:
            # Nearly all that comes, and no news but itself.
            intake.take_steady(samples[0])
            return
        if stats.restarts != self._restarts:
            self._restarts = stats.restarts
            intake.tell_missing(intake.restart())
            self._greeted.clear()
        for sample in samples:
            if isinstance(sample, Identity):
                self._greet_back(sample)
                continue
            if self._intake.identity is None and not self.decoder.identify():
                self._greet_back(None)
            self._intake.take(sample)
            if isinstance(sample, PopNotice) and pops.waiting is not None:
                self._spawn(self._look_after(sample))
            elif isinstance(sample, WaveBlock):
                self._block_at_s = self._clock()
                if self.decoder.dialect == DIALECT:
                    self._spawn(self._ask_what_was_lost())
        if pops.waiting is not None:
            if stats.damaged_total > damaged_before:
                pops.damage(at_s)
            self._intake.tell_missing(pops.due(at_s))

    async def _ask_what_was_lost(self) -> None:
        await self._sleep(SECOND_FLASH_S)
        if self._intake.pops.waiting is None:
            await self._write(self.decoder.get_status())

    async def _look_after(self, pop: PopNotice) -> None:
        await self._sleep(BLOCK_WAIT_S)
        self._intake.tell_missing(self._intake.pops.due(pop.at_s + BLOCK_WAIT_S))

    def _greet_back(self, identity: Identity | None) -> None:
        if identity is None:
            self._intake.meet_unnamed(self.decoder.dialect)
        else:
            self._intake.meet(identity)
        if self._greeted.is_set():
            return
        self._greeted.set()
        self._spawn(self._settle_in())
        self._keep_polling()
        if self.decoder.dialect == DIALECT:
            # Only our own sensor is known to speak all the time; others may have nothing to say for minutes.
            self._keep_watching()
        who = self._intake.identity
        assert who is not None
        sees = "flash and steady light" if who.flash else "steady light only: it cannot meter a pop"
        self._tell(READY, f"{who.name} ({who.sensor_id}) is connected, sees {sees}")

    # -------------------------------------------------------------------------------------------- delivery

    def _deliver(self, measurement: Measurement) -> None:
        if self.on_measurement is not None:
            self.on_measurement(measurement)

    def _deliver_level(self, level: Measurement) -> None:
        if self._collecting is not None:
            self._collect(self._collecting, level)
        if self.on_level is not None:
            self.on_level(level)

    def _collect(self, collecting: list[Measurement], level: Measurement) -> None:
        if collecting and collecting[-1].range_index != level.range_index:
            # Light of the range before the switch is not mixed in.
            collecting.clear()
        if self._wanted_range is not None and level.range_index != self._wanted_range:
            return
        collecting.append(level)
        if level.at_s - collecting[0].at_s >= self._window_s:
            self._collected.set()

    def _want_range(self, index: int) -> None:
        self._spawn(self._use_range(index))

    def _say(self, words: str) -> None:
        self._tell(self.state.name, words)

    def _tell(self, name: State, words: str, error: LinkError | None = None) -> None:
        if (name, words) == self.state[:2]:
            return
        self.state = SensorState(name, words, self._clock(), self.identity, error)
        if self.on_state is not None:
            self.on_state(self.state)


def _silent(url: str) -> str:
    return f"nothing that is a known sensor answers on {url}: check the port and its speed, or try 'sensors --try'"
