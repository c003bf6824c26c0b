"""Drives a walk of ``calibrating`` at a terminal: what to do, one measurement a step, ``u`` back, ``s`` leave out, ``q`` stop."""

from __future__ import annotations

import asyncio

from meterlink import units
from meterlink.calibration.evidence import reference_light
from meterlink.calibration.procedure import Procedure, Task
from meterlink.cli.frame import is_terminal, wrapped
from meterlink.errors import SensorError, UsageError
from meterlink.metering.calibrating import Say, Typed, Value, seen, walk_through
from meterlink.metering.sensor_in_use import SensorInUse
from meterlink.metering.station import SensorStation
from meterlink.records import Identity, Kind, Measurement
from meterlink.sensor.measuring.sensor import LOOKING, STOPPED, Sensor


async def drive(watching: SensorInUse, walk: Procedure, say: Say, value_of: Value, lines: Typed) -> bool:
    """Take every step with an opened sensor; return False when it was stopped before the end.

    Raises:
        LinkError: the sensor is gone for good.
    """
    station = SensorStation(watching.sensor, walk.calibration)
    station.pose = getattr(watching.bare_link, "pose", None)
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


def tell_state(watching: SensorInUse, say: Say) -> None:
    """Have a loss, a silence and a return of the sensor said."""
    watching.on_state = lambda state: None if state.name in (LOOKING, STOPPED) else say(f"  {state.words}")


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
        if self.on and task is not None and task.kind == Kind.STEADY and not task.ask:
            print(f"\r\033[K  now {seen(self.walk, task, level)}", end="", flush=True)
            self._shown = True

    def clear(self) -> None:
        """Leave the line empty."""
        if self._shown:
            print("\r\033[K", end="", flush=True)
            self._shown = False


def reference_value(calibration_constant: float, iso: float, shutter_s: float) -> Value:
    """Return what reads ``f/8+0.3``, ``1200 lx`` or ``160 lxs`` as light."""
    def value(text: str, task: Task) -> float:
        plain = text.lower().replace("·", "").replace(" ", "").replace(",", "")
        for unit, name in (("lxs", "exposure_lxs"), ("lx", "illuminance_lx")):
            if plain.endswith(unit):
                if (task.kind == Kind.FLASH) != (unit == "lxs"):
                    raise UsageError("lux are of steady light, lux-seconds (lxs) of a flash: type the other one")
                try:
                    number = float(plain.removesuffix(unit))
                except ValueError:
                    raise UsageError(
                        "'{typed}' is no number of {unit}: type for example 1200 lx",
                        typed=text[:30], unit=unit,
                    ) from None
                return reference_light(calibration_constant=calibration_constant, **{name: number})
        return reference_light(
            calibration_constant=calibration_constant,
            f_number=units.parse_f_number(text),
            iso=iso,
            shutter_s=shutter_s if task.kind == Kind.STEADY else None,
        )

    return value


def identity_of(sensor: Sensor) -> Identity:
    """The identity of an opened sensor.  Raises SensorError when it has not said who it is."""
    if sensor.identity is None:
        raise SensorError("the sensor has not said who it is: unplug it, plug it in and start again")
    return sensor.identity
