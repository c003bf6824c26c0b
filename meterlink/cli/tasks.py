"""Drives a walk of ``calibrating`` at a terminal: what to do, one measurement a step, ``u`` back, ``s`` leave out, ``q`` stop."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable
from typing import Any, Protocol

from meterlink.calibrating.procedure import Procedure, Task
from meterlink.errors import MeterlinkError, SensorError, UsageError
from meterlink.model import Calibration, Identity, Measurement
from meterlink.sensing import levels
from meterlink.sensing.sensor import Sensor

STEADY_S = 0.8
STEADY_PATIENCE_S = 8.0
SETTLE_S = 0.25
"""What comes so soon after a range switch is of the old range."""


class Station(Protocol):
    """Where measurements come from."""

    async def measure(self, task: Task) -> Measurement:
        """Return the next measurement for a task."""
        ...


class SensorStation:
    """A connected sensor; it measures with the walk's calibration while the station is in use."""

    def __init__(self, sensor: Sensor, calibration: Calibration) -> None:
        self.sensor = sensor
        sensor.calibration = calibration
        self._pops: asyncio.Queue[Measurement] = asyncio.Queue()
        self._levels: asyncio.Queue[Measurement] = asyncio.Queue()
        sensor.on_measurement = self._pops.put_nowait
        sensor.on_level = self._levels.put_nowait

    async def measure(self, task: Task) -> Measurement:
        """Switch to the task's range and wait for its pop, or average its steady light.

        Raises:
            SensorError: no steady light comes, or the sensor does not take the range.
        """
        await self._use(task.range_index)
        if task.kind == "flash":
            while not self._pops.empty():
                self._pops.get_nowait()
            return await self._pops.get()
        return await self._steady(task)

    async def _use(self, index: int | None) -> None:
        if index is None or (self.sensor.range_index == index and index < 1):
            return
        identity = self.sensor.identity
        if identity is not None and len(identity.ranges) > 1:
            await self.sensor.link.write(self.sensor.decoder.set_range(index))
            await asyncio.sleep(SETTLE_S)

    async def _steady(self, task: Task) -> Measurement:
        while not self._levels.empty():
            self._levels.get_nowait()
        taken: list[Measurement] = []
        loop = asyncio.get_running_loop()
        until = loop.time() + STEADY_PATIENCE_S
        while not taken or taken[-1].at_s - taken[0].at_s < STEADY_S:
            try:
                one = await asyncio.wait_for(self._levels.get(), max(0.01, until - loop.time()))
            except TimeoutError:
                raise SensorError("no steady light comes on this range: check the sensor and start again") from None
            if task.range_index is None or one.range_index == task.range_index:
                taken.append(one)
        if any(m.clipped for m in taken):
            return taken[-1]._replace(clipped=True)
        return levels.mean_level(taken)


class Lines:
    """Lines of standard input without blocking the loop; a closed input is a ``q``."""

    def __init__(self) -> None:
        self.interactive = sys.stdin is not None and sys.stdin.isatty()
        self._queue: asyncio.Queue[str] = asyncio.Queue()
        self._loop = asyncio.get_running_loop()
        self._started = False

    def start(self) -> None:
        """Begin to read, in a thread that the program may leave behind."""
        import threading

        if not self._started:
            self._started = True
            threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        for line in sys.stdin or ():
            self._loop.call_soon_threadsafe(self._queue.put_nowait, line.strip())
        self._loop.call_soon_threadsafe(self._queue.put_nowait, "q")

    async def next(self) -> str:
        """Wait for a line."""
        self.start()
        return await self._queue.get()


Value = Callable[[str, Task], float]
"""Turns what was typed for a task into its number; raises MeterlinkError."""


async def walk_through(walk: Procedure, station: Station, lines: Lines, say: Callable[[str], None], value_of: Value) -> bool:
    """Take every step; return False when it was stopped before the end."""
    told = ""
    while (task := walk.task) is not None:
        if task.name != told:
            told = task.name
            _announce(walk, task, say)
        typed: float | None = None
        if task.ask or task.kind == "steady":
            line = await lines.next()
            if line == "q":
                return False
            if _command(walk, line, say):
                told = ""
                continue
            if task.ask:
                try:
                    typed = value_of(line, task)
                except MeterlinkError as error:
                    say(f"! {error}")
                    continue
        measurement = await _measured(walk, station, lines, task, say)
        if measurement is None:
            return False
        if isinstance(measurement, str):
            told = ""
            continue
        counted = len(walk.taken)
        said = walk.take(measurement, typed)
        say(f"  {said}" if len(walk.taken) > counted else f"! {said}")
    return True


def _announce(walk: Procedure, task: Task, say: Callable[[str], None]) -> None:
    done, wanted = walk.progress
    say(f"\n[{done}/{wanted}] {task.title}: {task.text}")
    if task.caution and not any(t.task.caution == task.caution for t in walk.taken):
        say(f"  caution: {task.caution}")
    if task.ask:
        say(
            "  type what the reference reads (f/8+0.3, 1200 lx or 160 lxs), Enter, then "
            + ("fire" if task.kind == "flash" else "wait")
        )
    elif task.kind == "steady":
        say("  Enter when it is so" + ("; s leaves it out" if task.optional else ""))
    else:
        say("  fire" + ("; s leaves it out" if task.optional else ""))


def _command(walk: Procedure, line: str, say: Callable[[str], None]) -> bool:
    if line not in ("u", "s"):
        return False
    try:
        say(f"  {walk.undo() if line == 'u' else walk.skip()}")
    except UsageError as error:
        say(f"! {error}")
    return True


async def _measured(
    walk: Procedure, station: Station, lines: Lines, task: Task, say: Callable[[str], None]
) -> Measurement | str | None:
    """A measurement; a line that changed the walk meanwhile; None to stop."""
    work: asyncio.Future[Measurement] = asyncio.ensure_future(station.measure(task))
    if task.kind == "steady" or not lines.interactive:
        # A script's next line belongs to a later step; only a person types while a pop is waited for.
        return await work
    while True:
        line: asyncio.Future[str] = asyncio.ensure_future(lines.next())
        both: set[asyncio.Future[Any]] = {work, line}
        done, _ = await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        if line in done and line.result() in ("u", "s"):
            work.cancel()
            _command(walk, line.result(), say)
            return line.result()
        if work in done:
            line.cancel()
            return work.result()
        if line.result() == "q":
            work.cancel()
            return None


def reference_value(calibration_constant: float, iso: float, shutter_s: float) -> Value:
    """Return what reads ``f/8+0.3``, ``1200 lx`` or ``160 lxs`` as light."""
    from meterlink import units
    from meterlink.calibrating.evidence import reference_light

    def value(text: str, task: Task) -> float:
        plain = text.lower().replace("·", "").replace(" ", "").replace(",", "")
        for unit, name in (("lxs", "exposure_lxs"), ("lx", "illuminance_lx")):
            if plain.endswith(unit):
                if (task.kind == "flash") != (unit == "lxs"):
                    raise UsageError("lux are of steady light, lux-seconds (lxs) of a flash: type the other one")
                try:
                    number = float(plain.removesuffix(unit))
                except ValueError:
                    raise UsageError(f"'{text[:30]}' is no number of {unit}: type for example 1200 lx") from None
                return reference_light(calibration_constant=calibration_constant, **{name: number})
        return reference_light(
            calibration_constant=calibration_constant,
            f_number=units.parse_f_number(text),
            iso=iso,
            shutter_s=shutter_s if task.kind == "steady" else None,
        )

    return value


def identity_of(sensor: Sensor) -> Identity:
    """The identity of an opened sensor.  Raises SensorError when it has not said who it is."""
    if sensor.identity is None:
        raise SensorError("the sensor has not said who it is: unplug it, plug it in and start again")
    return sensor.identity
