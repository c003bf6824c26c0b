"""Drives a walk of ``calibrating`` at a terminal: what to do, one measurement a step, ``u`` back, ``s`` leave out, ``q`` stop."""

from __future__ import annotations

import asyncio
import sys
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from meterlink import units
from meterlink.calibration.evidence import full_raw_of, raw_of, reference_light
from meterlink.calibration.procedure import Procedure, Task
from meterlink.cli.frame import is_terminal, wrapped
from meterlink.cli.station import SensorStation, Station
from meterlink.errors import CalibrationError, MeterlinkError, SensorError, UsageError
from meterlink.records import Identity, Measurement
from meterlink.sensor.measuring.sensor import LOOKING, STOPPED, Sensor

if TYPE_CHECKING:
    from meterlink.metering.watch import Watching


class Lines:
    """Lines of standard input without blocking the loop; a closed input is a ``q``."""

    def __init__(self) -> None:
        self.interactive = sys.stdin is not None and sys.stdin.isatty()
        self._queue: asyncio.Queue[str] = asyncio.Queue()
        self._loop = asyncio.get_running_loop()
        self._started = False

    def start(self) -> None:
        """Begin to read, in a thread that the program may leave behind."""
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
Say = Callable[[str], None]
KEYS = "type u (take back), s (leave out) or q (stop), then Enter"


async def drive(watching: Watching, walk: Procedure, say: Say, value_of: Value, lines: Lines) -> bool:
    """Take every step with an opened sensor; return False when it was stopped before the end.

    Raises:
        LinkError: the sensor is gone for good.
    """
    station = SensorStation(watching.sensor, walk.calibration)
    live = Live(walk, say)
    station.on_live = live.show
    work = asyncio.ensure_future(walk_through(walk, station, lines, live.say, value_of))
    over = asyncio.Event()
    work.add_done_callback(lambda _: over.set())
    try:
        await watching.until(over)
        return await work
    finally:
        work.cancel()
        station.on_live = None
        live.clear()


def tell_state(watching: Watching, say: Say) -> None:
    """Have a loss, a silence and a return of the sensor said."""
    watching.sensor.on_state = lambda state: None if state.name in (LOOKING, STOPPED) else say(f"  {state.words}")


class Live:
    """The level of steady light on one line of a terminal, while a step waits for its Enter; nothing elsewhere."""

    def __init__(self, walk: Procedure, say: Say) -> None:
        self.walk, self._say = walk, say
        self.on = is_terminal()
        self._wrapped = wrapped
        self._shown = False

    def say(self, text: str) -> None:
        """Print a line in place of the live one."""
        self.clear()
        self._say("\n".join(self._wrapped(line) for line in text.split("\n")) if self.on else text)

    def show(self, level: Measurement) -> None:
        """Show a sample; not where something is being typed, which it would write over."""
        task = self.walk.task
        if self.on and task is not None and task.kind == "steady" and not task.ask:
            print(f"\r\033[K  now {seen(self.walk, task, level)}", end="", flush=True)
            self._shown = True

    def clear(self) -> None:
        """Leave the line empty."""
        if self._shown:
            print("\r\033[K", end="", flush=True)
            self._shown = False


async def walk_through(walk: Procedure, station: Station, lines: Lines, say: Say, value_of: Value) -> bool:
    """Take every step; return False when it was stopped before the end."""
    told = ""
    typed: float | None = None
    leaving: int | None = None
    news: list[str] = []
    while (task := walk.task) is not None:
        # Only then may anybody be told to fire once more.
        await station.prepare(task, leaving)
        _tell(news, say)
        leaving = None
        if task.name != told:
            told = task.name
            station.forget_pops()
            typed = None
            _announce(walk, task, say)
        if task.ask or task.kind == "steady":
            line = await _line(walk, station, lines, task, say)
            if line == "q":
                return False
            if _command(walk, line, say):
                told = ""
                continue
            if line and not task.ask:
                typed = _other_value(line, task, typed, value_of, say)
                continue
            if task.ask:
                typed = await _reference(walk, station, line, task, say, value_of)
                if typed is None:
                    continue
        try:
            measurement = await _measured(station, lines, task)
        except SensorError as error:
            # What was taken before is not lost with it.
            say(f"! {error}")
            told = ""
            continue
        if measurement is None:
            return False
        if isinstance(measurement, str):
            if measurement in ("u", "s"):
                _command(walk, measurement, say)
                told = ""
            else:
                typed = _other_value(measurement, task, typed, value_of, say)
            continue
        news = _take(walk, task, measurement, typed)
        if measurement.clipped or measurement.too_dim:
            leaving = measurement.range_index
    _tell(news, say)
    return True


async def _reference(walk: Procedure, station: Station, line: str, task: Task, say: Say, value_of: Value) -> float | None:
    """The reference's reading from its line; None when there was none in it: an empty one shows the level of steady light."""
    try:
        if not line and task.kind == "steady":
            say(f"  now {seen(walk, task, await station.measure(task))}; {_how(task)}")
            return None
        typed = value_of(line, task)
    except MeterlinkError as error:
        say(f"! {error}")
        return None
    station.forget_pops()
    say("  fire" if task.kind == "flash" else "  wait")
    return typed


def _take(walk: Procedure, task: Task, measurement: Measurement, typed: float | None) -> list[str]:
    """Give a measurement to its task; returns what is to be said of it."""
    counted = len(walk.taken)
    said = walk.take(measurement, typed)
    if len(walk.taken) > counted:
        return [f"  {said} ({seen(walk, task, measurement)})"]
    return [f"! {said}", f"  {_how(task)}"] if task.ask else [f"! {said}"]


def _tell(news: list[str], say: Say) -> None:
    for text in news:
        say(text)
    news.clear()


def seen(walk: Procedure, task: Task, measurement: Measurement) -> str:
    """How far a measurement fills its range, or how dark the dark is: what one looks at while setting a light."""
    names = walk.identity.ranges
    where = names[measurement.range_index] if measurement.range_index < len(names) else str(measurement.range_index)
    if measurement.clipped:
        return f"beyond range {where}"
    try:
        if task.dark and measurement.kind == "steady":
            return f"{raw_of(measurement, walk.calibration) / full_raw_of(walk.identity):.2%} of range {where}"
        level = walk.level_of(measurement)
    except CalibrationError:
        level = None
    return "level not known" if level is None else f"fills {level:.0%} of range {where}"


def _announce(walk: Procedure, task: Task, say: Say) -> None:
    done, wanted = walk.progress
    say(f"\n[{done}/{wanted}] {task.title}: {task.text}")
    if task.caution and not any(t.task.caution == task.caution for t in walk.taken):
        say(f"  caution: {task.caution}")
    if task.ask:
        say(f"  {_how(task)}")
    elif task.kind == "steady":
        say("  Enter when it is so" + ("; s leaves it out" if task.optional else ""))
    else:
        times = "fire" if task.wanted == 1 else f"fire {task.wanted} times, a second or more apart"
        say(f"  {times}" + ("; s leaves it out" if task.optional else ""))


def _how(task: Task) -> str:
    if task.kind == "flash":
        return "type what the reference reads of a pop (f/8+0.3 or 160 lxs), Enter, then fire once more"
    return "type what the reference reads (f/8+0.3 or 1200 lx), Enter, then wait; Enter alone shows the level"


def _other_value(line: str, task: Task, before: float | None, value_of: Value, say: Say) -> float | None:
    """What was typed instead of the step's own value, such as a distance; ``before`` when it is none."""
    if not task.settable:
        say(f"! {KEYS}")
        return before
    try:
        value = value_of(line, task)
    except MeterlinkError as error:
        say(f"! {error}")
        return before
    say(f"  {value:g} m, then, for this step")
    return value


def _command(walk: Procedure, line: str, say: Say) -> bool:
    if line not in ("u", "s"):
        return False
    try:
        say(f"  {walk.undo() if line == 'u' else walk.skip()}")
    except UsageError as error:
        say(f"! {error}")
    return True


async def _line(walk: Procedure, station: Station, lines: Lines, task: Task, say: Say) -> str:
    """Wait for a line; a pop that comes before what must be typed is told of, since it shows how bright the light is."""
    if task.kind == "steady":
        return await lines.next()
    line: asyncio.Future[str] = asyncio.ensure_future(lines.next())
    while True:
        pop: asyncio.Future[Measurement] = asyncio.ensure_future(station.stray_pop())
        both: set[asyncio.Future[Any]] = {line, pop}
        try:
            await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        except asyncio.CancelledError:
            line.cancel()
            raise
        finally:
            if not pop.done():
                pop.cancel()
        if line.done():
            return line.result()
        say(f"  that pop {seen(walk, task, pop.result())}: {_how(task)}")
        await station.prepare(task)


async def _measured(station: Station, lines: Lines, task: Task) -> Measurement | str | None:
    """A measurement; what was typed meanwhile; None to stop."""
    work: asyncio.Future[Measurement] = asyncio.ensure_future(station.measure(task))
    if task.kind == "steady" or not lines.interactive:
        # A script's next line belongs to a later step; only a person types while a pop is waited for.
        return await work
    while True:
        line: asyncio.Future[str] = asyncio.ensure_future(lines.next())
        both: set[asyncio.Future[Any]] = {work, line}
        done, _ = await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        if line in done and line.result():
            work.cancel()
            return None if line.result() == "q" else line.result()
        if work in done:
            line.cancel()
            return work.result()


def reference_value(calibration_constant: float, iso: float, shutter_s: float) -> Value:
    """Return what reads ``f/8+0.3``, ``1200 lx`` or ``160 lxs`` as light."""
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
