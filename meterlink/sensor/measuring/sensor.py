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
from collections.abc import Awaitable, Callable

from meterlink.errors import SensorError
from meterlink.records import Calibration, HeldOff, Identity, Measurement, PopNotice, Reply, Status, WaveBlock
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.messages import BUSY, DIALECT, GET_STATUS, SET_INTERVAL, SET_RANGE
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.link.base import Link
from meterlink.sensor.measuring import flash, levels, ranges
from meterlink.sensor.measuring.intake import CalibrationFor, Intake, Outlets
from meterlink.sensor.measuring.pops import BLOCK_WAIT_S
from meterlink.sensor.measuring.tended import OnState, TendedSensor

STEADY_PATIENCE_S = 3.0
SECOND_FLASH_S = 0.2
"""After a pop's block: by then the light itself has come where that pop was a pre-flash, 60 to 120 ms ahead (common practice, no
published source)."""
ANSWER_S, TIMES_SAID = 0.5, 3
"""An answer comes within milliseconds, behind a block within a twentieth of a second; then the command is said again."""
RECORD_T01 = 3.0
RECORD_PART = 0.8
"""The part of a record after its trigger should hold three times t0.1: an exponential tail is then below a thousandth."""


OnMeasurement = Callable[[Measurement], None]


class Sensor(TendedSensor):
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
        outlets = Outlets(self._deliver, self._deliver_level, self._want_range, self._say)
        super().__init__(link, decoder or NativeDecoder(), Intake(link.url, calibration_for, outlets), on_state, clock, sleep)
        self.on_measurement = on_measurement
        self.on_level = on_level
        self.on_notice: Callable[[], None] | None = None
        """Called when a pop has been announced: for 40 ms its block is on the line, and there is nothing else to do."""
        self._wanted_range: int | None = None
        self._held_range: int | None = None
        self._block_at_s = -math.inf
        self._interval_factor = 1
        self._restarts = 0
        self._collecting: list[Measurement] | None = None
        self._collected = asyncio.Event()
        self._window_s, self._left_out = 0.0, 0

    @property
    def calibration(self) -> Calibration | None:
        """What its values are turned into light with; None until it has said who it is."""
        return self.intake.calibration

    @calibration.setter
    def calibration(self, calibration: Calibration) -> None:
        self.intake.recalibrate(calibration)

    async def distances(self, window_s: float = 3.0) -> list[HeldOff]:
        """Return what the range finder says for so long, as it says it; empty for a sensor without one."""
        since = self._clock()
        await self._sleep(window_s)
        return self.intake.ranger.since(since)

    async def supply(self, timeout_s: float = 1.0) -> tuple[float, float] | None:
        """Wait until the sensor has told its state, so that its calibration is that of its supply now; return by how many stops
        that corrects every reading, with the standard uncertainty.  None for a sensor that does not measure against its supply, or
        tells no state."""
        until = self._clock() + timeout_s
        while self.status is None and self.decoder.dialect == DIALECT and self._clock() < until:
            await self._sleep(0.02)
        return self.intake.supply()

    async def told_now(self, timeout_s: float = 1.0) -> Status | None:
        """Ask the sensor for its state and return it; what it said before, if it does not answer, None if it never did."""
        before = self.status
        if before is None:
            return None
        await self._write(self.decoder.command(GET_STATUS))
        until = self._clock() + timeout_s
        while self.status is before and self._clock() < until:
            await self._sleep(0.02)
        return self.status

    @property
    def range_index(self) -> int:
        """The sensitivity range that it uses."""
        return self.intake.range_index

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
            self.intake.pulse_s = pulse_s
        await self._use_range(ranges.for_peak(expected_exposure_lxs / self.intake.pulse_s, calibration))

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

    async def sample_slower(self) -> None:
        """Take the next longer sample interval, where there is one."""
        intervals = self.identity.intervals if self.identity is not None else ()
        longer = [s for s in intervals if s > self._interval_factor * min(intervals) * 1.01]
        if longer:
            await self._use_interval(min(longer))

    async def _use_interval(self, interval_s: float) -> None:
        identity = self.identity
        assert identity is not None
        factor = round(interval_s / min(identity.intervals))
        if factor != self._interval_factor:
            self._interval_factor = factor
            await self._command(SET_INTERVAL, factor)

    async def hold_range(self, index: int | None) -> None:
        """Use this range and keep it, whatever the pops advise; None lets them choose again."""
        self._held_range = index
        if index is not None:
            await self._use_range(index)

    async def settled(self) -> None:
        """Return when it has answered all that it was told, a switch that still waits for a second flash too.

        A pop that is fired before may be lost.  What is not answered in time, or met a sensor that was busy, is said again;
        one that never answers is used as it is.
        """
        if self.deaf:
            return
        if tasks := self._commands.to_be_said:
            await asyncio.wait(tasks)
        for _ in range(TIMES_SAID):
            if await self._within(self._commands.answered, ANSWER_S):
                return
            self._commands.forget()
            await self._set_again()

    async def take_steady(self, window_s: float = 1.0, patience_s: float = STEADY_PATIENCE_S, *, stay: bool = False) -> Measurement:
        """Return the mean of the steady light over ``window_s``, on the range that suits it.

        ``stay``: on the range in use, for the whole window, and without the first level, which may have begun to collect light
        before now.  Raises SensorError: no steady light comes from this sensor within the window and ``patience_s``.
        """
        self._collecting, self._window_s, self._left_out = [], window_s, int(stay)
        self._collected.clear()
        self.intake.steady_sets_range = not stay
        try:
            whole = await self._within(self._collected, window_s + patience_s)
        finally:
            collected, self._collecting = self._collecting[self._left_out :], None
            self.intake.steady_sets_range = False
        if not collected or (stay and not whole):
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
            if 0.0 <= since_s < SECOND_FLASH_S and not self.intake.steady_sets_range:
                await self._sleep(SECOND_FLASH_S - since_s)
                if self._wanted_range != index:
                    return
            await self._command(SET_RANGE, index)

    async def _set_again(self) -> None:
        if self._wanted_range is not None:
            await self._command(SET_RANGE, self._wanted_range)
        if self.identity is not None and self.identity.intervals:
            # Another program may have left another one.
            await self._command(SET_INTERVAL, self._interval_factor)

    # ----------------------------------------------------------------------------------------------- bytes

    def _on_bytes(self, data: bytes, at_s: float, channel: str) -> None:
        self._heard = True
        intake, decoder = self.intake, self.decoder
        stats, pops = decoder.stats, intake.pops
        damaged_before = stats.damaged_total
        samples = decoder.feed(data, at_s, channel)
        if stats.restarts != self._restarts:
            self._restarts = stats.restarts
            intake.tell_missing(intake.restart())
            self._greeted.clear()
            self._commands.forget()
        for sample in samples:
            if isinstance(sample, Identity):
                self._greet_back(sample)
                continue
            if intake.identity is None and not decoder.identify():
                self._greet_back(None)
            intake.take(sample)
            if isinstance(sample, Reply) and sample.code != BUSY:  # what it was too busy for has to be said again
                self._commands.heard(sample.command)
            elif isinstance(sample, Status):
                self._commands.heard(GET_STATUS)
            if isinstance(sample, PopNotice) and pops.waiting is not None:
                self._spawn(self._look_after(sample))
            elif isinstance(sample, WaveBlock):
                self._block_at_s = self._clock()
                if decoder.dialect == DIALECT:
                    self._commands.under_way(self._spawn(self._ask_what_was_lost()))
        if pops.waiting is not None:
            if stats.damaged_total > damaged_before:
                pops.damage(at_s)
            intake.tell_missing(pops.due(at_s))

    async def _ask_what_was_lost(self) -> None:
        await self._sleep(SECOND_FLASH_S)
        if self.intake.pops.waiting is None:
            await self._command(GET_STATUS)

    async def _look_after(self, pop: PopNotice) -> None:
        if self.intake.pops.waiting is pop:
            # Its block is on the line for 40 ms: time to bring what reads it back into the processor's caches.
            flash.rehearse()
            if self.on_notice is not None:
                self.on_notice()
        await self._sleep(BLOCK_WAIT_S)
        self.intake.tell_missing(self.intake.pops.due(pop.at_s + BLOCK_WAIT_S))

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
        if level.at_s - collecting[min(self._left_out, len(collecting) - 1)].at_s >= self._window_s:
            self._collected.set()

    def _want_range(self, index: int) -> None:
        if self._held_range is not None:
            return
        self._commands.under_way(self._spawn(self._use_range(index)))
