"""The one driver of a session: sensor, walk, range, sampling, steady light, retries, loss.

Lifecycle: ``await open()``; then every measurement becomes an ``Outcome`` through ``on_outcome``; ``await walked()``
returns when the walk is over, or raises what ended it; ``await close()``.  Command line and app use it alike; it prints nothing
and asks nothing.  Where the library must not be touched on the loop's thread, ``worker`` does it.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Awaitable, Callable, Coroutine
from concurrent.futures import Executor
from typing import Any, NamedTuple

from meterlink.errors import MeterlinkError, NotInLibrary, SensorError
from meterlink.library.store import Library
from meterlink.metering.expectation import Expectation, camera_asks_for
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.sensor_in_use import NO_RECONNECTING, SensorInUse, Told, calibration_for
from meterlink.metering.session import Session
from meterlink.metering.walk import Request
from meterlink.records import Calibration, Identity, Kind, Measurement, Trouble
from meterlink.sensor.find import keep
from meterlink.sensor.link.registry import parse
from meterlink.sensor.measuring.flash import rehearse
from meterlink.simulation.as_placed import pulse_of
from meterlink.simulation.studio import Pulse
from meterlink.words.actions import Do

UNSEEN_S = 8.0
"""So long after it was asked for a pop has usually come (common practice, no published source)."""
PATIENCE_S = 40.0
"""After so long without a pop even an expectation may be wrong: a strong pop on the sensitive range costs one more, a weak one
on the bright range is never seen (our choice)."""
LAST_FLASH_S = 0.4
"""So long after the last pop of a walk the sensor is listened to, and has been asked whether it lost a second one."""


class Plan(NamedTuple):
    """What is waited for, and what it should give."""

    waiting: Request | None
    listening: bool = False
    expected: Expectation | None = None
    guess_lxs: float | None = None
    """What chooses the range where nothing is known."""
    simulated: tuple[Pulse, ...] = ()
    """What may fire next: more than one where any order will do."""
    several: bool = False
    """More than one light may fire next."""


class Metering(SensorInUse):
    """One sensor at work for one session."""

    def __init__(
        self,
        session: Session | None,
        url: str,
        *,
        on_outcome: Callable[[Outcome], None],
        on_waiting: Callable[[Request | None], None] | None = None,
        on_unseen: Callable[[bool], None] | None = None,
        on_calibration: Callable[[Calibration], None] | None = None,
        on_error: Callable[[MeterlinkError], None] | None = None,
        take: Callable[[Measurement], Outcome] | None = None,
        worker: Executor | None = None,
        spawn: Callable[[Coroutine[Any, Any, None]], Any] | None = None,
        library: Library | None = None,
        **options: Any,
    ) -> None:
        """``on_waiting`` is called when the sensor has been prepared for a request (None: the walk is over).

        ``on_unseen`` is called when no pop came for a while: True when weaker ones are listened for from now on, False when the
        range stays as yet, because it is the expected one.  ``on_calibration`` is told which calibration is used, before anything
        is waited for and whenever it changes with the receptor.  ``on_error`` takes an error of storing and the walk goes on;
        without it the walk ends.  ``take`` is used instead of the session's own.
        """
        owner = library or (session.library if session is not None else None)
        if owner is None:
            raise NotInLibrary("there is neither a set-up nor a library to meter for")
        super().__init__(owner, url, on_measurement=self._on_measurement, **options)
        self.session = session
        if session is not None and session.walk.waiting is not None:
            self.receptor = session.walk.waiting.receptor
        self.sensor.on_notice = self._rehearse
        self.on_calibration = on_calibration
        self._told_calibration = ""
        self._chosen: Calibration | None = None
        """Of a receptor that was changed for another, until the sensor uses it."""
        self.on_outcome, self.on_waiting, self.on_unseen, self.on_error = on_outcome, on_waiting, on_unseen, on_error
        self._take = take
        self._worker = worker
        self._spawn = spawn or self._own_task
        self._tasks: set[asyncio.Task[Any]] = set()
        self._unseen: asyncio.TimerHandle | None = None
        self._prepared: Plan | None = None
        self._guessed_lxs: float | None = None
        """By the camera, for a first light: the range was chosen by it."""
        self._refused: list[Outcome] = []
        """Asked for again, and not told yet."""
        self._stop = asyncio.Event()
        self._flash_at_s = -math.inf

    async def close(self) -> None:
        """Close the sensor."""
        self._stop_unseen()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await super().close()

    async def ready(self) -> Identity:
        """Wait until the sensor has said who it is and prepare it for the first light.

        Raises SensorError when nothing known answers, or when it cannot see what is to be metered.
        """
        identity = await self.identified()
        session = self.session
        waiting = session.walk.waiting if session is not None else None
        if session is not None and waiting is not None and waiting.kind == Kind.FLASH and not identity.flash:
            light = session.by_id.get(waiting.light_id)
            raise SensorError(
                "{identity} sees steady light only and cannot meter a pop: {do}",
                identity=identity.name, do=Do("meter_steady", light=light and light.name),
            )
        if identity.flash:
            await self._work(rehearse)
        if parse(self.url).scheme not in NO_RECONNECTING:
            keep(self.library, self.url, identity)
        await self.prepare()
        return identity

    # -- before a pop -----------------------------------------------------------------------------------------

    async def prepare(self) -> None:
        """Choose range and sampling for what is waited for; call it again after an undo, a skip or a new walk.

        What is waited for is told when the sensor has acknowledged both: a pop that came before could be lost.
        The range is the expected one.  A light of which nothing is known, or any of several, is after a while listened for on
        the most sensitive range, one that is known after a long while: too weak for the bright one it would never be seen.
        """
        plan = await self._work(self._plan)
        link = self.bare_link
        if hasattr(link, "expect"):
            # A simulated sensor has no photographer: it is told which lights are waited for, and fires or lights one of them.
            link.expect(*plan.simulated, burning=plan.waiting is not None and plan.waiting.kind == Kind.STEADY)
            link.hold(plan.waiting.held_off_m if plan.waiting is not None else None)
        if self._chosen is not None:
            self.sensor.calibration, self._chosen = self._chosen, None
        before, self._prepared = self._prepared, plan
        if plan != before:
            await self._set_up(plan)
        await self.sensor.settled()
        if self._prepared is not plan:
            return  # something else is waited for by now, and whoever prepares that tells it
        self._tell_refused()
        self._tell_calibration()
        self._changed.set()
        if self.on_waiting is not None:
            self.tell(self.on_waiting, plan.waiting)

    def _tell_calibration(self) -> None:
        used = self.calibration
        if used is not None and used.id != self._told_calibration:
            self._told_calibration = used.id
            if self.on_calibration is not None:
                self.tell(self.on_calibration, used)

    def _choose_calibration(self, receptor: str) -> None:
        identity = self.sensor.identity
        if receptor != self.receptor:
            self.receptor = receptor
            if identity is not None:
                self._chosen = calibration_for(self.library, identity, self._now(), receptor)

    def _plan(self) -> Plan:
        session = self.session
        if session is None or session.walk.waiting is None:
            return Plan(None)
        waiting, listening = session.walk.waiting, session.walk.listening
        self._choose_calibration(waiting.receptor)
        calibration = self._chosen or self.sensor.calibration
        session.calibration_id = calibration.id if calibration is not None else ""
        may_come = session.may_come()
        simulated = tuple(pulse for one in may_come if (pulse := self._pulse_of(one)) is not None)
        expected = session.expected()
        guess_lxs = camera_asks_for(session, calibration.constant) if expected is None and calibration is not None else None
        return Plan(waiting, listening, expected, guess_lxs, simulated if listening else (), session.several())

    def _pulse_of(self, request: Request) -> Pulse | None:
        """What a simulated sensor gets when this is fired."""
        session = self.session
        assert session is not None
        placements = session.placements_fired()
        if request.light_at_m is not None and request.light_id in placements:
            placements[request.light_id] = placements[request.light_id]._replace(distance_m=request.light_at_m)
        return pulse_of(session.lights(), placements, **request._asdict())

    async def _set_up(self, plan: Plan) -> None:
        self._stop_unseen()
        if not plan.listening or plan.waiting is None or plan.waiting.kind != Kind.FLASH:
            return
        expected = plan.expected
        await self.sensor.fit_record(expected.t01_s if expected is not None else None)
        if expected is not None:
            await self.sensor.choose_range(expected.exposure_lxs, expected.pulse_s)
        elif plan.guess_lxs != self._guessed_lxs:
            # Once: what the sensor has learnt since, by a pop that clips or none that is seen, is worth more than a guess.
            self._guessed_lxs = plan.guess_lxs
            await self.sensor.choose_range(plan.guess_lxs)
        self._unseen = asyncio.get_running_loop().call_later(UNSEEN_S, self._not_seen, expected is None or plan.several)

    def _not_seen(self, unknown: bool) -> None:
        identity = self.sensor.identity
        if identity is None or self.sensor.range_index >= len(identity.ranges) - 1:
            return
        if not unknown:
            self._unseen = asyncio.get_running_loop().call_later(PATIENCE_S - UNSEEN_S, self._not_seen, True)
        self._spawn(self._after_unseen(unknown))

    async def _after_unseen(self, unknown: bool) -> None:
        if unknown:
            await self.listen_closer()
        if self.on_unseen is not None:
            self.tell(self.on_unseen, unknown)

    def _stop_unseen(self) -> None:
        if self._unseen is not None:
            self._unseen.cancel()
            self._unseen = None

    async def listen_closer(self) -> None:
        """Listen on the most sensitive range for what is waited for: its pop was too weak to be seen."""
        self._stop_unseen()
        await self.sensor.listen_closest()
        await self.sensor.settled()

    def listen_closer_soon(self) -> None:
        """``listen_closer`` from a plain callback, when a pop is waited for."""
        if self._prepared is not None and self._prepared.listening:
            self._spawn(self.listen_closer())

    def prepare_soon(self) -> None:
        """``prepare`` from a plain callback."""
        self._spawn(self.prepare())

    # -- the walk ---------------------------------------------------------------------------------------------

    async def walked(self, lit: Callable[[], Awaitable[None]] | None = None) -> None:
        """Drive the walk to its end; raise what ended it before.

        ``lit`` waits until the person says that the next steady light burns alone; it is not asked for the first one.
        """
        first = True
        while True:
            self._raise_failure()
            waiting = self.session.walk.waiting if self.session is not None else None
            if self._stop.is_set() or (waiting is None and not await self._another_flash()):
                return
            if waiting is None:
                continue
            if waiting.kind == Kind.STEADY:
                if lit is not None and not first:
                    await lit()
                    if self._stop.is_set():
                        return
                await self.take_steady()
            else:
                self._changed.clear()
                await self._changed.wait()
            first = False

    async def _another_flash(self) -> bool:
        """Wait a moment after the last pop of a walk: it may have been a pre-flash.  True when something came."""
        left_s = self._flash_at_s + LAST_FLASH_S - asyncio.get_running_loop().time()
        if left_s <= 0.0 or parse(self.url).scheme == "sim":
            return False
        self._changed.clear()
        try:
            await asyncio.wait_for(self._changed.wait(), left_s)
        except TimeoutError:
            return False
        return True

    def stop(self) -> None:
        """End the walk here; what was logged stays."""
        self._stop.set()
        self._changed.set()

    async def take_steady(self, window_s: float = 1.0) -> Outcome:
        """Take steady light for the request that is waited for."""
        measurement = await self.sensor.take_steady(window_s)
        outcome = await self._work(lambda: self._take_one(measurement))
        self._told(outcome)
        return outcome

    # -- a pop ------------------------------------------------------------------------------------------------

    def _rehearse(self) -> None:
        if self.session is not None:
            self._spawn(self._work(self.session.rehearse))

    def _on_measurement(self, measurement: Measurement) -> None:
        self._stop_unseen()
        if self._worker is not None:
            self._spawn(self._take_on_worker(measurement))
            return
        try:
            outcome = self._take_one(measurement)
        except MeterlinkError as error:
            self._not_stored(error)
        else:
            self._told(outcome)

    async def _take_on_worker(self, measurement: Measurement) -> None:
        loop = asyncio.get_running_loop()

        def take() -> None:
            outcome = self._take_one(measurement)
            # Straight to the loop: a future would come one frame later, and the eye is waiting.
            loop.call_soon_threadsafe(self._told, outcome)

        try:
            await loop.run_in_executor(self._worker, take)
        except MeterlinkError as error:
            self._not_stored(error)

    def _take_one(self, measurement: Measurement) -> Outcome:
        if self._take is not None:
            return self._take(measurement)
        if self.session is None:
            raise NotInLibrary("there is no set-up yet that this pop could belong to: begin one")
        return self.session.take(measurement)

    def _not_stored(self, error: MeterlinkError) -> None:
        # The disk is full or the library locked: the reading was not accepted and the light still waits.
        if self.on_error is not None:
            self.tell(self.on_error, error)
        else:
            self.fail(error)

    def _told(self, outcome: Outcome) -> None:
        if outcome.kind == OutcomeKind.AGAIN and not self.sensor.deaf:
            self._refused.append(outcome)
            self._spawn(self._ask_again(outcome))
        else:
            self._tell_refused()
            self.tell(self.on_outcome, outcome)
        self._changed.set()
        if outcome.kind == OutcomeKind.LOGGED and outcome.reading is not None and outcome.reading.kind == Kind.FLASH:
            self._flash_at_s = asyncio.get_running_loop().time()
        if outcome.kind == OutcomeKind.LOGGED or outcome.numbers.get("taken_back"):
            # The callback may have begun another walk, so the session is asked, not the outcome.
            self.prepare_soon()

    async def _ask_again(self, outcome: Outcome) -> None:
        """Ask for one more pop when the sensor is ready for it: whoever reads that fires."""
        if outcome.code in (Trouble.TOO_LONG, Trouble.CUT_SHORT, Trouble.LAMP):
            await self.sensor.sample_slower()
        await self.sensor.settled()
        self._tell_refused()

    def _tell_refused(self) -> None:
        refused, self._refused = self._refused, []
        for outcome in refused:
            self.tell(self.on_outcome, outcome)

    def _gone(self, error: MeterlinkError) -> None:
        if self.session is None or not self.session.walk.done:
            self.fail(error)

    def _own_task(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._done)

    def _done(self, task: asyncio.Task[Any]) -> None:
        self._tasks.discard(task)
        error = None if task.cancelled() else task.exception()
        if isinstance(error, MeterlinkError):
            self.fail(error)
        elif error is not None:
            asyncio.get_running_loop().call_exception_handler({"message": "metering", "exception": error, "task": task})
            self.fail(SensorError("metering stopped by an error of its own ({name}): please report it", name=type(error).__name__))

    async def _work(self, work: Callable[[], Told]) -> Told:
        if self._worker is None:
            return work()
        return await asyncio.get_running_loop().run_in_executor(self._worker, work)
