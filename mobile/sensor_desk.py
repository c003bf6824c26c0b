"""The app's sensor: finds them, keeps one connected, hands its measurements over.  No kivy; runs on the event loop.

``found`` and ``status`` are replaced whole whenever they change and ``on_change`` is called; both may be shown as they are.
Measurements go to ``on_measurement``, steady light to ``on_level``, on the loop's thread.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, NamedTuple

from meterlink.errors import MeterlinkError
from meterlink.library.store import Library
from meterlink.metering.watch import KEEPS_NO_LINK_ALIVE, calibration_for
from meterlink.records import Calibration, Identity, Measurement
from meterlink.sensor.find import BUSY, REFUSED, SENSOR, find, finder
from meterlink.sensor.link.base import Link
from meterlink.sensor.link.reconnect import ReconnectingLink
from meterlink.sensor.link.registry import link_for, parse
from meterlink.sensor.measuring.sensor import Sensor, SensorState
from meterlink.sensor.urls import adapter_of, decoder_for, dialect_of, moved_to, with_settings
from mobile.texts import t

SIMULATED_URL = "sim:?every=0"
KNOWN = "app:sensors"
MOST_KNOWN = 8
SCAN_S = 6.0


class Found(NamedTuple):
    """A sensor that could be connected."""

    url: str
    name: str
    what: str
    """What it is, in words."""
    signal_dbm: int | None = None
    known: bool = False
    """Was connected before: shown at once, before anything is searched."""
    simulated: bool = False


class Status(NamedTuple):
    """The sensor in use."""

    url: str = ""
    state: str = "none"
    """``none``, ``connecting``, ``looking``, ``ready``, ``silent``, ``lost``, ``stopped``."""
    words: str = ""
    name: str = ""
    simulated: bool = False
    flash: bool = True
    battery: float | None = None
    """0 to 1."""
    calibrated_at_s: float | None = None
    calibration: str = ""
    """How it was calibrated: ``assumed`` is not at all."""
    damaged: int = 0
    looking: bool = False
    """A search is under way."""
    search_note: str = ""
    """Why a search found less than it might: no Bluetooth, no permission ..."""

    @property
    def ready(self) -> bool:
        """Whether a pop would be seen now."""
        return self.state == "ready"


Finder = Callable[[Callable[[Found], None]], Awaitable[str]]
"""Searches, tells of each sensor as it is found, returns a note (empty when all went well)."""


class SensorDesk:
    """See the module."""

    def __init__(
        self,
        library: Library,
        *,
        on_measurement: Callable[[Measurement], None],
        on_level: Callable[[Measurement], None],
        on_change: Callable[[], None],
        make_link: Callable[[str], Link] = link_for,
        finders: tuple[Finder, ...] | None = None,
        now: Callable[[], float] = time.time,
    ) -> None:
        self.library = library
        self.status = Status()
        self.found: tuple[Found, ...] = self._known()
        self.sensor: Sensor | None = None
        self._on_measurement, self._on_level, self._on_change = on_measurement, on_level, on_change
        self._make_link = make_link
        self._finders = finders if finders is not None else (find_ports, find_bluetooth)
        self._now = now
        self._search: asyncio.Task[None] | None = None
        self._link: Link | None = None

    # -- finding ------------------------------------------------------------------------------------------------

    def _known(self) -> tuple[Found, ...]:
        kept = self.library.recall(KNOWN)
        rows = kept if isinstance(kept, list) else []
        return tuple(
            Found(row[0], row[1], row[2], known=True)
            for row in rows[:MOST_KNOWN]
            if isinstance(row, list) and len(row) == 3 and all(isinstance(part, str) for part in row)
        )

    def look_for(self) -> None:
        """Search in the background; a search under way goes on."""
        if self._search is None or self._search.done():
            self._search = asyncio.get_running_loop().create_task(self._look())

    async def _look(self) -> None:
        self._set(looking=True, search_note="")
        notes = await asyncio.gather(*(self._run(finder) for finder in self._finders))
        self._set(looking=False, search_note=" ".join(filter(None, notes)))

    async def _run(self, finder: Finder) -> str:
        try:
            return await finder(self._add)
        except MeterlinkError as error:
            return str(error)

    def _add(self, one: Found) -> None:
        others = [f for f in self.found if f.url != one.url]
        known = any(f.url == one.url and f.known for f in self.found)
        self.found = (*others, one._replace(known=known or one.known))
        self._on_change()

    # -- connecting ---------------------------------------------------------------------------------------------

    async def connect(self, url: str) -> None:
        """Use this sensor from now on; the one before is let go.  Its state is told through ``status``.

        Raises UsageError for a URL that cannot be; a sensor that is not there now is waited for.
        """
        scheme = parse(url).scheme
        await self.disconnect()
        if scheme == "ble":
            from mobile.permissions import ask

            await ask()
        simulated = scheme == "sim"
        self._set(
            url=url, state="connecting", words=t("sensors.connecting"), simulated=simulated, name="", battery=None
        )
        url = with_settings(url)
        decoder = decoder_for(url)
        adapter = adapter_of(url) if dialect_of(url) else ""
        if scheme in KEEPS_NO_LINK_ALIVE:
            link = self._make_link(url)
        else:
            # Patient: a sensor that is not there yet is waited for while everything else goes on.
            again = partial(self._find_again, url, adapter)
            link = ReconnectingLink(url, self._make_link, find_again=again, patient=True)
        self._link = link
        self.sensor = Sensor(
            link, self._calibration_for, self._on_measurement, self._on_state, decoder=decoder, on_level=self._level
        )
        try:
            await self.sensor.start()
        except MeterlinkError as error:
            self._set(state="lost", words=str(error))

    async def disconnect(self) -> None:
        """Let the sensor go."""
        sensor, self.sensor, self._link = self.sensor, None, None
        if sensor is not None:
            sensor.on_state = sensor.on_level = sensor.on_measurement = None
            await sensor.stop()
        self._set(
            state="none", words="", url="", name="", simulated=False, battery=None, calibrated_at_s=None, calibration=""
        )

    async def close(self) -> None:
        """End everything."""
        if self._search is not None:
            self._search.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._search
        await self.disconnect()

    def _calibration_for(self, identity: Identity) -> Calibration:
        return calibration_for(self.library, identity, self._now())

    async def _find_again(self, url: str, adapter: str) -> str | None:
        """Look for the sensor where it is now: by its identity, or by its adapter when it cannot tell who it is."""
        if dialect_of(url):
            return moved_to(url, adapter)
        identity = self.sensor.identity if self.sensor else None
        if identity is None or parse(url).scheme != "serial":
            return None
        found: str | None = await finder(identity.sensor_id, make_link=self._make_link)()
        return found

    def _on_state(self, state: SensorState) -> None:
        changes: dict[str, Any] = {"state": state.name, "words": state.words}
        if state.identity is not None:
            changes |= {"name": state.identity.name, "flash": state.identity.flash}
            calibration = self.sensor.calibration if self.sensor else None
            if calibration is not None:
                changes |= {"calibrated_at_s": calibration.created_at_s, "calibration": calibration.method}
        if state.name == "ready":
            self._keep(state.identity)
        self._set(**changes)

    def _keep(self, identity: Identity | None) -> None:
        """Remember the sensor so that it is offered at once the next time."""
        url = self.status.url
        if self.status.simulated or identity is None:
            return
        rows = [[url, identity.name, self._what(url)]]
        rows += [[f.url, f.name, f.what] for f in self.found if f.known and f.url != url]
        self.library.remember(KNOWN, rows[:MOST_KNOWN])
        self._add(Found(url, identity.name, self._what(url), known=True))

    def _what(self, url: str) -> str:
        before = next((f.what for f in self.found if f.url == url), "")
        return before or url

    def _level(self, level: Measurement) -> None:
        sensor = self.sensor
        if sensor is not None:
            battery = sensor.battery.fraction if sensor.battery else None
            if (battery, sensor.damaged_frames) != (self.status.battery, self.status.damaged):
                self._set(battery=battery, damaged=sensor.damaged_frames)
        self._on_level(level)

    def _set(self, **changes: Any) -> None:
        status = self.status._replace(**changes)
        if status != self.status:
            self.status = status
            self._on_change()

    # -- wishes -------------------------------------------------------------------------------------------------

    async def prepare(self, expected_exposure_lxs: float | None) -> None:
        """Choose the range for the pop that is waited for."""
        if self.sensor is not None and self.status.ready:
            await self.sensor.choose_range(expected_exposure_lxs)

    async def take_steady(self) -> Measurement:
        """Return the mean of the steady light over a second.  Raises SensorError when none comes."""
        if self.sensor is None:
            raise MeterlinkError(t("sensors.none_connected"))
        return await self.sensor.take_steady()

    @property
    def simulator(self) -> Any:
        """The simulated link, when that is what is connected; None otherwise."""
        return self._link if self.status.simulated and hasattr(self._link, "pop") else None


# -- searching ----------------------------------------------------------------------------------------------------


async def find_ports(found: Callable[[Found], None]) -> str:
    """Ask the serial ports that look like a board who is there; ports that somebody else holds are left alone."""
    notes = []
    async with contextlib.aclosing(find()) as finding:
        async for one in finding:
            if one.state == SENSOR:
                found(Found(one.url, one.name, t("sensors.on_port", port=one.url.removeprefix("serial:"))))
            elif one.state in (BUSY, REFUSED):
                notes.append(one.words)
    return " ".join(notes)


async def find_bluetooth(found: Callable[[Found], None]) -> str:
    """Listen for Bluetooth sensors."""
    from meterlink.sensor.link.ble_scan import Seen, scan
    from mobile.permissions import ask

    await ask()

    def seen(one: Seen) -> None:
        found(Found(one.url, one.name or one.address, one.what, one.signal_dbm))

    await scan(SCAN_S, seen)
    return ""
