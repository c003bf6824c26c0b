"""Drives a walk of calibration or acceptance with a sensor: prepares each step, measures it, obeys what is typed meanwhile.

What is to be said goes to ``say``, what is typed comes from ``lines``: terminal and app bring their own.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any, Protocol

from meterlink.calibration.evidence import full_raw_of, raw_of
from meterlink.calibration.procedure import TYPED, Procedure, Task, kind_of
from meterlink.errors import CalibrationError, MeterlinkError, SensorError, UsageError
from meterlink.records import Calibration, Kind, Measurement
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.units import format_illuminance
from meterlink.words.told import NOTHING, Told, all_of, told

STEADY_S, STEADY_PATIENCE_S = 0.8, 8.0

Value = Callable[[str, Task], float]
"""Turns what was typed for a task into its number; raises MeterlinkError."""
Say = Callable[[str], None]
Keep = Callable[[Procedure], None]
"""Puts a walk where it is found again when the rest of it has to wait."""


class Typed(Protocol):
    """Where typed lines come from."""

    interactive: bool
    """Whether a person types, who does it while something is measured; a script's next line belongs to a later step."""

    async def next(self) -> str | None:
        """Wait for a line; None when no more will come."""
        ...


class SensorStation:
    """A connected sensor; it measures with the walk's calibration while the station is in use."""

    def __init__(self, sensor: Sensor, calibration: Calibration) -> None:
        self.sensor = sensor
        sensor.calibration = calibration
        self.on_live: Callable[[Measurement], None] | None = None
        """Told of every steady sample, for a live figure."""
        self.pose: Callable[[str, str, float | None, int | None, float | None, float | None], None] | None = None
        """Told of every step, for a simulated sensor, which has no hands."""
        self._pops: asyncio.Queue[Measurement] = asyncio.Queue()
        sensor.on_measurement = self._pops.put_nowait
        sensor.on_level = lambda level: self.on_live(level) if self.on_live is not None else None

    async def prepare(self, task: Task) -> None:
        """Put the sensor on the task's range, or on the one that sensing chose after the last pop; wait until it is there.

        After a small pop sensing switches to a finer range by itself; a task that names its range holds it.
        """
        if self.pose is not None:
            self.pose(task.name, task.kind, task.level, task.range_index, task.value, task.light)
        await self.sensor.hold_range(task.range_index)
        await self.sensor.settled()

    def forget_pops(self) -> None:
        """What was fired until now does not count."""
        while not self._pops.empty():
            self._pops.get_nowait()

    async def measure(self, task: Task) -> Measurement:
        """Wait for the next pop, or average the steady light from now on.

        Raises SensorError: nothing comes in its time, or the sensor does not take the range.
        """
        if task.kind != Kind.FLASH:
            try:
                return await self.sensor.take_steady(STEADY_S, STEADY_PATIENCE_S, stay=True)
            except SensorError:
                raise SensorError("no steady light comes on this range: check the sensor, then take this step again") from None
        try:
            return await asyncio.wait_for(self._pops.get(), task.patience_s)
        except TimeoutError:
            raise SensorError("no pop was seen in {seconds:.0f} s", seconds=task.patience_s) from None


async def walk_through(
    walk: Procedure, station: SensorStation, lines: Typed, say: Say, value_of: Value, keep: Keep | None = None
) -> bool:
    """Take every step; return False when it was stopped before the end.  ``keep`` is called after everything that changed it."""
    kept = (0, 0)
    announced = ""
    typed: float | None = None
    news: list[str] = []
    while (task := walk.task) is not None:
        state = (len(walk.taken), len(walk.skipped))
        if keep is not None and state != kept:
            keep(walk)
        kept = state
        # Only then may anybody be told to fire once more.
        await station.prepare(task)
        _tell(news, say)
        if task.name != announced:
            announced = task.name
            station.forget_pops()
            typed = None
            _announce(walk, task, say)
        if task.kind != Kind.FLASH:
            line = await _typed(lines)
            if line == "q":
                return False
            if _command(walk, line, say):
                announced = ""
                continue
            if task.kind == TYPED:
                _read(walk, task, line, say, value_of)
                continue
            if line:
                typed = _other_value(line, task, typed, value_of, say)
                continue
        try:
            measurement = await _measured(station, lines, task)
        except SensorError as error:
            # What was taken before is not lost with it.
            say(f"! {error}")
            announced = ""
            if task.patience_s is not None:
                walk.miss()
            continue
        if measurement is None:
            return False
        if isinstance(measurement, str):
            if measurement in ("u", "s"):
                _command(walk, measurement, say)
                announced = ""
            else:
                typed = _other_value(measurement, task, typed, value_of, say)
            continue
        news = _take(walk, task, measurement, typed)
    if keep is not None:
        keep(walk)
    _tell(news, say)
    return True


def _take(walk: Procedure, task: Task, measurement: Measurement, typed: float | None) -> list[str]:
    """Give a measurement to its task; returns what is to be said of it."""
    counted = len(walk.taken)
    said = walk.take(measurement, typed)
    if len(walk.taken) > counted:
        return [f"  {said} ({seen(walk, task, measurement)})"]
    return [f"! {said}"]


def _read(walk: Procedure, task: Task, line: str, say: Say, value_of: Value) -> None:
    """Give a typed task what was typed; what is none is said, and asked again."""
    try:
        said = walk.read(value_of(line, task))
    except MeterlinkError as error:
        say(f"! {error}")
    else:
        say(f"  {said}")


def _tell(news: list[str], say: Say) -> None:
    for text in news:
        say(text)
    news.clear()


def seen(walk: Procedure, task: Task, measurement: Measurement) -> Told:
    """How far a measurement fills its range, or how dark the dark is: what one looks at while setting a light."""
    names = walk.identity.ranges
    where = names[measurement.range_index] if measurement.range_index < len(names) else str(measurement.range_index)
    if measurement.clipped:
        return told("beyond_the_range", range=where)
    try:
        if task.dark and measurement.kind == Kind.STEADY and not walk.identity.adc_bits and measurement.illuminance_lx is not None:
            # A chip that reports lux has no range to be a part of.
            return told("formula", why=format_illuminance(measurement.illuminance_lx))
        if task.dark and measurement.kind == Kind.STEADY:
            return told("part_of_range", part=raw_of(measurement, walk.calibration) / full_raw_of(walk.identity), range=where)
        level = walk.level_of(measurement)
    except CalibrationError:
        level = None
    return told("level_unknown") if level is None else told("fills_range", part=level, range=where)


def _announce(walk: Procedure, task: Task, say: Say) -> None:
    done, wanted = walk.progress
    say(f"\n[{done}/{wanted}] {task.title}: {task.text}")
    if task.caution and not any(t.task.caution == task.caution for t in walk.taken):
        say(f"  {told('caution', what=task.caution)}")
    leave_out = told("s_leaves_out") if task.optional else NOTHING
    if task.kind == TYPED:
        say(f"  {all_of(_how(task), leave_out)}")
    elif task.kind == Kind.STEADY:
        say(f"  {all_of(told('enter_when_so'), leave_out)}")
    else:
        times = told("fire_now") if task.wanted == 1 else told("fire_times", times=task.wanted)
        say(f"  {all_of(times, leave_out)}")


def _how(task: Task) -> Told:
    if task.camera:
        return told("type_frame")
    return told("type_it", example="f/8+0.3, 160 lxs" if kind_of(task) == Kind.FLASH else "f/8+0.3, 1200 lx")


def _other_value(line: str, task: Task, before: float | None, value_of: Value, say: Say) -> float | None:
    """What was typed instead of the step's own value, such as a distance; ``before`` when it is none."""
    if not task.settable:
        say(f"! {told('keys')}")
        return before
    try:
        value = value_of(line, task)
    except MeterlinkError as error:
        say(f"! {error}")
        return before
    say(f"  {told('distance_for_step', distance_m=value)}")
    return value


def _command(walk: Procedure, line: str, say: Say) -> bool:
    if line not in ("u", "s"):
        return False
    try:
        say(f"  {walk.undo() if line == 'u' else walk.skip()}")
    except UsageError as error:
        say(f"! {error}")
    return True


async def _typed(lines: Typed) -> str:
    line = await lines.next()
    return "q" if line is None else line


async def _measured(station: SensorStation, lines: Typed, task: Task) -> Measurement | str | None:
    """A measurement; what was typed meanwhile; None to stop."""
    work: asyncio.Future[Measurement] = asyncio.ensure_future(station.measure(task))
    if task.kind == Kind.STEADY or not lines.interactive:
        # A script's next line belongs to a later step; only a person types while a pop is waited for.
        return await work
    while True:
        line: asyncio.Future[str] = asyncio.ensure_future(_typed(lines))
        both: set[asyncio.Future[Any]] = {work, line}
        done, _ = await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        if line in done and line.result():
            work.cancel()
            return None if line.result() == "q" else line.result()
        if work in done:
            line.cancel()
            return work.result()
