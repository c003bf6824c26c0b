"""Drives a walk of ``calibrating`` at a terminal: what to do, one measurement a step, ``u`` back, ``s`` leave out, ``q`` stop."""

from __future__ import annotations

import asyncio
import math
import re
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import NamedTuple

from meterlink import units
from meterlink.calibration.procedure import TYPED, Procedure, Task, kind_of
from meterlink.cli.as_typed import number
from meterlink.cli.driving import sensor_url
from meterlink.cli.terminal import LiveLine
from meterlink.errors import CalibrationError, SensorError, UsageError
from meterlink.library.store import Library
from meterlink.metering.calibrating import Keep, Say, SensorStation, Typed, Value, seen, walk_through
from meterlink.metering.sensor_in_use import SensorInUse
from meterlink.photometry import exposure
from meterlink.photometry.card import right_aperture
from meterlink.records import Calibration, Identity, Kind, Measurement
from meterlink.report.picture import card_level
from meterlink.sensor.measuring.tended import LOOKING, STOPPED
from meterlink.words.language import say

FRAME = re.compile(r"(f?/?\s*\d[\d.]*(?:\s*[+-]\s*[\d.]+)?)\s+([^+\-\s].*)")
"""An aperture, then the level of a frame or its file."""
Named = Callable[[SensorInUse], Awaitable[None]]


class Begun(NamedTuple):
    """A sensor that is open and has said who it is."""

    watching: SensorInUse
    identity: Identity
    calibration: Calibration
    """The one in force."""
    supply: tuple[float, float] | None
    """How far its supply is from that of the calibration, in stops, and how well that is known; None: no ruler of its own."""


def teller(as_json: bool) -> Say:
    """Return what prints a line; with ``--json`` the answer alone goes to standard output, the rest to standard error."""
    return lambda text: print(text, file=sys.stderr if as_json else sys.stdout, flush=True)


@asynccontextmanager
async def begun(
    library: Library, sensor: str | None, tell: Say, receptor: str = "", named: Named | None = None
) -> AsyncIterator[Begun]:
    """Find and open the sensor for a walk, and close it at the end; ``named`` waits for its name in a way of its own.

    Raises:
        SensorError: it does not say who it is.
    """
    url = await sensor_url(library, sensor, tell)
    watching = SensorInUse(library, url, receptor=receptor)
    watching.on_state = lambda state: None if state.name in (LOOKING, STOPPED) else tell(f"  {state.words}")
    try:
        await watching.open()
        await (named(watching) if named else watching.identified())
        identity, calibration = watching.sensor.identity, watching.calibration
        if identity is None or calibration is None:
            raise SensorError("the sensor has not said who it is: unplug it, plug it in and start again")
        yield Begun(watching, identity, calibration, await watching.sensor.supply())
    finally:
        await watching.close()


async def drive(
    watching: SensorInUse, walk: Procedure, tell: Say, value_of: Value, lines: Typed, keep: Keep | None = None
) -> bool:
    """Take every step with an opened sensor; return False when it was stopped before the end.

    Raises:
        LinkError: the sensor is gone for good.
    """
    station = SensorStation(watching.sensor, walk.calibration)
    station.pose = getattr(watching.bare_link, "pose", None)
    if (simulated := getattr(watching.bare_link, "reference", None)) and any(task.kind == TYPED for task in walk.tasks):
        tell(say("the simulated sensor has a simulated reference beside it: Enter alone takes what that reads"))
        typed_value, value_of = value_of, lambda text, task: typed_value(text, task) if text else simulated(task.name, task.value)
    live = LiveLine()

    def say_above(text: str) -> None:
        live.clear()
        tell(text)

    def show(level: Measurement) -> None:
        # Not where something is being typed, which it would write over.
        if (task := walk.task) is not None and task.kind == Kind.STEADY:
            live.show(say("  now {level}", level=seen(walk, task, level)))

    station.on_live = show
    work = asyncio.ensure_future(walk_through(walk, station, lines, say_above, value_of, keep))
    over = asyncio.Event()
    work.add_done_callback(lambda _: over.set())
    try:
        await watching.until(over)
        return await work
    finally:
        work.cancel()
        station.on_live = None
        live.clear()


def reference_value(calibration_constant: float, iso: float, shutter_s: float, card: float | None = None) -> Value:
    """Return what reads ``f/8+0.3``, ``1200 lx`` or ``160 lxs`` as light at a receptor of our constant C.

    An f-number is what the photographer sets, so it is taken over as an f-number: with the C of our receptor it becomes
    light, and the sensor will show that f-number again whatever C the reference's maker chose.
    With the reflectance of a ``card`` the reference is a camera: ``f/8`` is the aperture at which the card is at its level,
    ``f/8 110`` and ``f/8 frame.jpg`` are a frame at that aperture in which it has that level.
    """
    def value(text: str, task: Task) -> float:
        plain = text.lower().replace("·", "").replace(" ", "").replace(",", "")
        if card is None and (light := re.fullmatch("(.*?)(lxs?)", plain)):
            if (kind_of(task) == Kind.FLASH) != (light[2] == "lxs"):
                raise UsageError("lux are of steady light, lux-seconds (lxs) of a flash: type the other one")
            reading = number(light[1])
            if math.isnan(reading):
                raise UsageError("'{typed}' is no number of {unit}: type for example 1200 lx", typed=text[:30], unit=light[2])
            if not 0.0 < reading < math.inf:
                raise CalibrationError("the reference's reading must be greater than 0: take the pair again")
            return reading
        f_number = units.parse_f_number(text) if card is None else _of_frame(text, card)
        if kind_of(task) == Kind.STEADY:
            return exposure.illuminance(f_number, shutter_s, iso, calibration_constant)
        return exposure.luminous_exposure(f_number, iso, calibration_constant)

    return value


def _of_frame(text: str, card: float) -> float:
    """The f-number at which the camera brings the card out at its level, from an aperture and the level or file of one frame."""
    parts = FRAME.fullmatch(text.strip())
    if parts is None:
        return units.parse_f_number(text)
    f_number, frame = units.parse_f_number(parts[1]), parts[2]
    try:
        code = float(frame) if frame.replace(".", "", 1).isdecimal() else card_level(Path(frame).expanduser())
        return right_aperture(f_number, code, card)
    except ValueError as error:
        raise UsageError("{error}", error=error) from None
