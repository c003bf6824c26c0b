"""The front door for programmers: open a library, make a set, meter it, read its tables.  ``import meterlink`` shows it.

It adds no behaviour of its own: a ``Setup`` here drives the same session as the command line and the app.  Lengths are
metres, times seconds, angles degrees, light lx·s (flash) or lx (steady); stops are positive for more light.
"""

from __future__ import annotations

import os
import time
from collections import deque
from collections.abc import Iterable, Iterator
from functools import cached_property
from types import TracebackType
from typing import TYPE_CHECKING, Any, NamedTuple

from meterlink import units
from meterlink.checks.findings import Finding
from meterlink.library.store import Library as Store
from meterlink.metering.opened_set import OpenedSet
from meterlink.photometry.flash import FlashPulse, analyse
from meterlink.photometry.sources import Source
from meterlink.records import Light, Placement, Reading, new_id
from meterlink.records import Setup as SetupRecord
from meterlink.records.kept import OWN_POINT_ROLES
from meterlink.tables.ratios import RatioTable

if TYPE_CHECKING:
    from meterlink.metering.session import Outcome, Session


class Taken(NamedTuple):
    """What became of one pop."""

    kind: str
    """``logged`` (it is on disk), ``again`` (the same light still waits) or ``ignored``."""
    light: str
    """Name of the light; empty for a pop of nobody's."""
    reading: Reading | None
    sentence: str
    """The same in words."""


class Library:
    """A library of set-ups and readings; ``open`` makes one.  Use it as a context manager, or call ``close``."""

    def __init__(self, store: Store) -> None:
        self.store = store
        """The records themselves, for what the front door does not offer."""

    def new_setup(
        self, name: str, *, iso: float = 100.0, shutter_s: float | None = None, camera_offset_stops: float = 0.0,
        filter_stops: float = 0.0
    ) -> Setup:
        """Make a set-up, which becomes the one in use.

        ``camera_offset_stops`` is added to the working aperture only (positive closes down), ``filter_stops`` (0 or more)
        opens it.  Raises UsageError for a name that is taken or a value that cannot be.
        """
        record = SetupRecord(new_id(), name, time.time(), iso, shutter_s, camera_offset_stops, filter_stops)
        self.store.add_setup(record)
        self.store.use_setup(record.id)
        return Setup(OpenedSet(self.store, record.id))

    def setup(self, name: str | None = None) -> Setup:
        """Return a stored set-up by name, else the one in use.  Raises NotInLibrary."""
        return Setup(OpenedSet(self.store, name))

    def setups(self) -> list[str]:
        """Names of the set-ups that are not put away."""
        return [one.name for one in self.store.setups()]

    def close(self) -> None:
        """Close the file."""
        self.store.close()

    def __enter__(self) -> Library:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()


class Setup:
    """One set-up: lights in, readings in, tables out."""

    def __init__(self, opened: OpenedSet) -> None:
        self.opened = opened
        """The set as every front end has it open."""

    @cached_property
    def session(self) -> Session:
        """What drives it for terminal and app, made when it is first metered."""
        from meterlink.metering.session import Session  # all that meters: who only reads tables need not wait for it

        return Session(self.opened.library, self.opened.setup.id)

    @property
    def name(self) -> str:
        """Its name."""
        return self.opened.setup.name

    @property
    def lights(self) -> list[str]:
        """Names of its lights, in their order."""
        return [one.name for one in self.opened.lights()]

    def add_light(
        self, name: str, *, role: str = "other", source: Source | None = None, distance_m: float | None = None,
        azimuth_deg: float | None = None, elevation_deg: float | None = None, power: str | None = None, point: str | None = None,
        reflector_of: str | None = None, fixture: str = "", modifier: str = "", **placement: Any
    ) -> None:
        """Add a light.

        ``role``: key, fill, hair, rim, background or other.  ``source``: a Disk, Rectangle or Point (default).
        ``distance_m``: emitting surface to the dome at the light's point; None is not known.  ``azimuth_deg``: 0 is the
        camera's side, positive to camera right; ``elevation_deg``: positive above the face.  ``power`` in the fixture's own scale
        (``"1/4"``, ``"-2.3"``).  ``point``: where it is metered (default: the face; hair, rim and background lights their own).
        ``reflector_of``: a passive reflector names its source.  ``placement``: further fields of a placement, such as ``grid_deg``.
        Raises UsageError, UnitError or NotInLibrary, in one line.
        """
        opened = self.opened
        feeding = opened.light(reflector_of).id if reflector_of else None
        where = point or (role if role in OWN_POINT_ROLES else "face")
        light = Light(new_id(), opened.setup.id, name, role, where, len(opened.lights()), fixture, modifier, feeding)
        place = Placement(new_id(), light.id, opened.now(), **placement)._replace(
            distance_m=distance_m, azimuth_deg=azimuth_deg, elevation_deg=elevation_deg, **_shape(source), **_power(power)
        )
        opened.add_light(light, place)

    def move(self, light: str, *, source: Source | None = None, power: str | None = None, **changes: Any) -> None:
        """Move, turn or re-power a light: fields of a placement by name.  Its reading becomes stale.

        It stays where only is told where the light stands, of which nothing was known.
        """
        shape = {} if source is None else _shape(source)
        self.opened.move(self.opened.light(light), **shape, **_power(power), **changes)

    def meter(self, sensor: str, lights: Iterable[str], *, aim: str = "light", receptor: str = "dome") -> Iterator[Taken]:
        """Wait for one pop of each light, in their order, and tell of every pop; a logged one is on disk by then.

        ``sensor`` is a URL (``serial:/dev/ttyACM0``, ``ble:ADDRESS``, ``sim:``).  ``lights``: names, each with the held-off
        distance where it is known (``"KEY@20cm"``).  Blocks between pops; leaving the loop closes the sensor.
        Raises LinkError or SensorError when the sensor cannot be used.
        """
        named = map(self.session.named_light, lights)
        self.session.begin([self.session.request(light, aim=aim, receptor=receptor, held_off_m=held) for light, held in named])
        return _walk(self.session, sensor)

    def undo(self) -> Reading:
        """Take the last reading back, or first a distance said after it; return the record, which stays.  Raises NotInLibrary."""
        return self.session.undo()

    def ratios(self) -> RatioTable:
        """Return the ratio table; its ``rows`` have the fields of ``meterlink ratios --json``."""
        return self.opened.ratios()

    def checks(self) -> list[Finding]:
        """Return what is not as it should be, worst first."""
        return self.opened.checks()


def open(path: str | os.PathLike[str] | None = None) -> Library:  # noqa: A001
    """Open a library, without a path the user's own; it is made when it is missing.

    Raises LibraryError in one line when the file is none, is newer than this program, or cannot be written.
    """
    return Library(Store.open(path))


def analyse_pop(illuminance_lx: Any, sample_interval_s: Any, shutter_s: float | None = None) -> FlashPulse:
    """Return exposure, peak, t0.5, t0.1 and ambient light of one pop: samples in lx, their interval in s.

    With ``shutter_s`` only what falls inside a shutter of that length, opened at the pop, counts.  Raises ValueError in one line.
    """
    return analyse(illuminance_lx, sample_interval_s, shutter_s)


def _shape(source: Source | None) -> dict[str, Any]:
    if source is None:
        return {}
    width, height = 2 * source.half_width_m or None, 2 * source.half_height_m or None
    return {"shape": source.shape, "width_m": width, "height_m": None if source.shape == "disk" else height}


def _power(text: str | None) -> dict[str, Any]:
    return {} if text is None else {"power_text": text, "power_stops": units.parse_power(text)}


def _walk(session: Session, sensor: str) -> Iterator[Taken]:
    """Tell of every pop until the walk is over; the event loop runs only while the caller waits for the next one."""
    import asyncio

    from meterlink.metering.driver import Metering

    names = {one.id: one.name for one in session.lights()}
    told: deque[Taken] = deque()

    def on_outcome(outcome: Outcome) -> None:
        if outcome.message:
            name = names.get(outcome.light.id, "") if outcome.light else ""
            told.append(Taken(outcome.kind, name, outcome.reading, outcome.message))

    async def start() -> Metering:
        metering = Metering(session, sensor, on_outcome=on_outcome)
        await metering.open()
        await metering.ready()
        return metering

    async def next_pop(metering: Metering) -> bool:
        over = asyncio.ensure_future(metering.walked())
        while not told and not over.done():
            await asyncio.wait((over,), timeout=0.02)
        if not over.done():
            over.cancel()
            return True
        over.result()
        return False

    with asyncio.Runner() as runner:
        metering = runner.run(start())
        try:
            going = True
            while going:
                going = runner.run(next_pop(metering))
                while told:
                    yield told.popleft()
        finally:
            runner.run(metering.close())
